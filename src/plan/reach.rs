//! How close a delivery comes, and how close it would stay sharp.

use serde::Serialize;

use super::DeliveryPlan;
use crate::geom::Window;

/// How close a window may enlarge a still and still count as 1:1, against rounding.
const ROUNDING: f64 = 1e-6;

/// The deepest zoom of a delivery that is sharp: a pixel of the still, or more, for every pixel of the frame.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Reach {
    /// The zoom at which a pixel of the still fills one of the frame; below 1 where even the largest window is too
    /// small.
    pub one_to_one: f64,
    /// The deepest sharp zoom, and its frame; none where no frame is sharp.
    pub sharp: Option<Deepest>,
    /// What lies beyond, where anything does.
    pub enlarged: Option<Enlarged>,
}

/// A zoom, and the first frame that has it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Deepest {
    /// 1 is the largest window.
    pub zoom: f64,
    /// From 0.
    pub frame: usize,
}

/// Frames that enlarge the still.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Enlarged {
    /// How many.
    pub frames: usize,
    /// The closest of them.
    pub deepest: Deepest,
    /// Pixels of the frame for one of the still there.
    pub times: f64,
}

impl DeliveryPlan {
    /// How close it comes to its stills.
    #[must_use]
    pub fn reach(&self) -> Reach {
        let largest = |room, roll: f64| Window::largest(room, self.frame.aspect(), roll).width;
        let rooms = std::iter::once(self.room).chain(self.rooms.iter().map(|(_, room)| *room));
        let smallest = rooms.map(|room| largest(room, 0.0)).fold(f64::INFINITY, f64::min);
        let mut reach = Reach { one_to_one: smallest / f64::from(self.frame.width), sharp: None, enlarged: None };
        for (frame, row) in self.rows.iter().enumerate() {
            let largest = largest(self.room_of(frame), row.window.roll);
            let (zoom, times) = (largest / row.window.width, row.window.enlargement(self.frame));
            let deepest = Deepest { zoom, frame };
            if times <= 1.0 + ROUNDING {
                if reach.sharp.is_none_or(|before| zoom > before.zoom * (1.0 + ROUNDING)) {
                    reach.sharp = Some(deepest);
                }
                continue;
            }
            let enlarged = reach.enlarged.get_or_insert(Enlarged { frames: 0, deepest, times });
            enlarged.frames += 1;
            if zoom > enlarged.deepest.zoom * (1.0 + ROUNDING) {
                (enlarged.deepest, enlarged.times) = (deepest, times);
            }
        }
        reach
    }
}

impl std::fmt::Display for Reach {
    /// In a line, as people read it.
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match &self.sharp {
            Some(sharp) => write!(
                f,
                "deepest sharp zoom {:.3}, frame {}; 1:1 is at {:.3}",
                sharp.zoom, sharp.frame, self.one_to_one
            )?,
            None => write!(f, "no frame is sharp: 1:1 is at zoom {:.3}", self.one_to_one)?,
        }
        match &self.enlarged {
            Some(Enlarged { frames, deepest, times }) => {
                let frames = if *frames == 1 { "1 frame".to_owned() } else { format!("{frames} frames") };
                write!(f, "; beyond it {frames}, up to zoom {:.3}, enlarged {times:.3} times", deepest.zoom)
            }
            None => Ok(()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::Row;
    use crate::shot::{Codec, Light, Policy, Sharpness};
    use crate::units::{FrameRate, Size, SlotIndex};

    const STILL: Size = Size { width: 4000, height: 3000 };

    /// A delivery of 1000 x 750 with windows of these zooms.
    fn plan(zooms: &[f64]) -> DeliveryPlan {
        let row = |zoom: &f64| Row::plain(SlotIndex(0), Window::new(0.0, 0.0, 4000.0 / zoom, 3000.0 / zoom));
        DeliveryPlan {
            name: "wide".into(),
            frame: Size::new(1000, 750),
            fps: FrameRate::new(24, 1).unwrap(),
            codec: Codec::PNG,
            sharpness: Sharpness::Even,
            resample: Light::Encoded,
            light: Light::Linear,
            room: STILL.into(),
            rooms: Vec::new(),
            corrected: false,
            sound: [].into(),
            stamps: [].into(),
            unread_sound: Policy::default(),
            every_still: false,
            extras: crate::plan::Extras::default(),
            gathered: Vec::new(),
            rows: zooms.iter().map(row).collect(),
        }
    }

    #[test]
    fn the_deepest_sharp_zoom_is_the_last_before_the_still_is_enlarged() {
        let reach = plan(&[1.0, 3.9, 4.0, 5.0, 8.0, 2.0]).reach();
        assert_eq!((reach.one_to_one, reach.sharp), (4.0, Some(Deepest { zoom: 4.0, frame: 2 })));
        assert_eq!(
            reach.to_string(),
            "deepest sharp zoom 4.000, frame 2; 1:1 is at 4.000; beyond it 2 frames, up to zoom 8.000, enlarged 2.000 times"
        );
    }

    #[test]
    fn a_delivery_that_is_never_sharp_or_always_says_so() {
        let never = plan(&[5.0]).reach();
        assert_eq!(
            never.to_string(),
            "no frame is sharp: 1:1 is at zoom 4.000; beyond it 1 frame, up to zoom 5.000, enlarged 1.250 times"
        );
        assert_eq!(plan(&[1.5, 1.5]).reach().to_string(), "deepest sharp zoom 1.500, frame 0; 1:1 is at 4.000");
    }
}
