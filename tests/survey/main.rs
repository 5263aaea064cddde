//! The survey of whole shoots: order, gaps, damage and what is set aside, on cards written by the tests themselves.

mod camera;
mod faults;
mod headers;
mod missing;
mod shoots;
