//! The report in a real browser: Chromium without a window, where one is installed. Where none is, each test says so and
//! passes: the toolchain alone must be enough to run the others.

mod chromium;
mod paper;
mod pointing;
mod reading;
mod reload;
mod sample_page;
mod screens;
