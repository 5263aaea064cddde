//! Windows that a table says, in a delivery's shape.
//!
//! ## Decisions
//!
//! - A window that has its delivery's shape and lies inside the still is taken as it is written, to the last bit.
//! - One of another shape keeps its centre and its width. What differs by up to half a pixel is rounding, and goes without
//!   a word.

use kurbo::Point;

use crate::diag::Diagnostic;
use crate::geom::Window;
use crate::shot::{Closeness, Delivery, Width, Written};

use super::steady::Bounds;
use super::words;

/// How far, in pixels of the still, a window may be moved without a word: rounding, not a decision.
pub(super) const UNSAID: f64 = 1e-3;

/// The narrowest window, in pixels of the still.
pub(super) const NARROWEST: f64 = 1.0;

/// A height that differs from the delivery's shape by no more than this many pixels was rounded.
const ROUNDED: f64 = 0.5;

/// A height that differs from the delivery's shape by no more than this share was computed by the same rule.
const SAME: f64 = 1e-9;

/// A window in a delivery's shape.
pub(super) struct Shaped {
    pub(super) window: Window,
    /// By how many pixels the table's height was another one.
    pub(super) mended: f64,
}

/// A table's window in a delivery's shape, wherever it lies.
///
/// # Errors
/// A mistake without a place: a window of less than a pixel.
pub(super) fn shaped(written: Written, roll: f64, delivery: &Delivery, bounds: Bounds) -> Result<Shaped, Diagnostic> {
    let aspect = delivery.frame.aspect();
    let (centre, width, height) = match written {
        Written::Corner([x, y, width, height]) => {
            (Point::new(x + width / 2.0, y + height / 2.0), width, Some((height, Window::new(x, y, width, height))))
        }
        Written::Centre { centre, width, height } => {
            let width = match width {
                Width::Pixels(width) => width,
                Width::Close(Closeness::Zoom(zoom)) => Window::largest(bounds.room, aspect, roll).width / zoom,
                Width::Close(Closeness::Span(span)) => f64::from(bounds.still.width) * span,
            };
            let centre = Point::from(centre);
            (centre, width, height.map(|height| (height, Window::around(centre, width, height))))
        }
    };
    if width.min(width / aspect) < NARROWEST {
        let message = format!(
            "a width of {} px is less than one pixel of the still in '{}'",
            words::figure(width),
            delivery.name
        );
        return Err(Diagnostic::mistake(message)
            .help("tables are in pixels of the still; a column span has the width as a fraction of it"));
    }
    let due = width / aspect;
    Ok(match height {
        Some((height, window)) if (height - due).abs() <= SAME * due => {
            Shaped { window: window.rolled(roll), mended: 0.0 }
        }
        other => Shaped {
            window: Window::around(centre, width, due).rolled(roll),
            mended: other.map_or(0.0, |(height, _)| (height - due).abs()),
        },
    })
}

/// Whether a height was another one by more than rounding.
pub(super) fn is_mended(shaped: &Shaped) -> bool {
    shaped.mended > ROUNDED
}
