//! Stillpath cuts moving, smaller-frame clips out of a shoot of full-size stills, as a Lua script says.
//!
//! One direction: script → shot → plan → pipeline → encode. Five kinds of module:
//!
//! - **ground** knows nothing of a shoot: [`units`], [`diag`], [`table`], [`seal`], [`store`], [`geom`], [`curve`],
//!   [`level`], [`register`], [`flow`], [`reckon`];
//! - **data** is handed on: [`picture`], [`shoot`], [`shot`], [`measures`], [`finding`], [`receipt`], [`master`],
//!   [`plan`], [`work`];
//! - **engines** turn bytes into pixels, and pixels into others: [`ffi`], [`integrity`], [`decode`], [`sample`],
//!   [`lettering`], [`ink`], [`flash`];
//! - **steps** do one thing each and never import one another: [`script`], [`survey`], [`look`], [`sheet`],
//!   [`resolve`], [`pipeline`], [`encode`], [`prove`], [`draw`], [`hand`], [`demo`];
//! - the **composition** wires them: [`session`].

pub mod curve;
pub mod decode;
pub mod demo;
pub mod diag;
pub mod draw;
pub mod encode;
pub mod ffi;
pub mod finding;
pub mod flash;
pub mod flow;
pub mod geom;
pub mod hand;
pub mod ink;
pub mod integrity;
pub mod lettering;
pub mod level;
pub mod look;
pub mod master;
pub mod measures;
pub mod picture;
pub mod pipeline;
pub mod plan;
pub mod prove;
pub mod receipt;
pub mod reckon;
pub mod register;
pub mod resolve;
pub mod sample;
pub mod script;
pub mod seal;
pub mod session;
pub mod sheet;
pub mod shoot;
pub mod shot;
pub mod store;
pub mod survey;
pub mod table;
pub mod track;
pub mod units;
pub mod work;
