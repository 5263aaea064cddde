//! Whether a still's rows all belong to the scene, told by the stills beside it: damage that no decoder can tell of.
//!
//! In a JPEG the mean of every block is coded as its difference from the one before (ITU-T T.81, F.1.2.1.1), so a few
//! wrong bytes that go on fitting the code shift the level, or the colours, of all blocks from there on, to the next
//! restart marker or to the end of the picture. Light and passers-by do not keep to the order in which blocks are
//! coded. Small pictures of a block a pixel come with decoding ([`Means`]); [`judge()`] holds one against those of two
//! neighbours, and [`Jury`] calls on it as stills are decoded, in whatever order.
//!
//! HEVC, AV1 and VP8 predict every block from those beside it, so that from the first wrong byte on the rest of a tile,
//! or of the picture, is made up (`lost`): nothing in it rises and falls as the scene does.
//!
//! Pictures of DC coefficients as a stand-in for the whole: Yeo and Liu, "Rapid scene analysis on compressed video",
//! IEEE Transactions on Circuits and Systems for Video Technology 5(6), 1995. The bars by which damage is told are our
//! own.
//!
//! ## Decisions
//!
//! - Of wrong bytes that go on fitting the code no decoder tells, so every still is held against those beside it: a
//!   render does it while it decodes; looking and registering do too. What they keep of a still is kept once it has
//!   been judged.
//! - A still can be judged when the next has been decoded, and by then its frames may be painted. With a policy the
//!   plan is made again and whole stretches are taken over. A stretch says which of its stills were not yet judged when
//!   it was put away; the run that takes it over reads them and their neighbours first.

mod breaks;
mod case;
mod judge;
mod jury;
mod lost;
mod means;
mod search;
mod view;

pub use breaks::Break;
pub use judge::judge;
pub use jury::{Jury, Trial};
pub use means::{Means, Plane, SCALE};
