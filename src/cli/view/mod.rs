//! `shutline view`: shows a folder of results in the browser of this machine.

mod command;
mod request;
mod server;
mod site;

pub use command::View;
