//! Last accepted outputs: regression only, never truth.
