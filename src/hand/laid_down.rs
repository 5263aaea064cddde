//! What is laid down of a move beside its clip: markers at keys and remarks, and all of it in metadata.

use std::path::Path;

use super::schema::{Laid, Marker, Metadata, Sequence, Stills};
use super::sequence::{file, numbered};
use super::{Part, Script, range, url};
use crate::geom::Window;
use crate::plan::{DeliveryPlan, Layer};
use crate::shot::Policy;

/// The columns of [`Laid::rows`].
const COLUMNS: [&str; 7] = ["position", "still", "x", "y", "width", "height", "roll"];

/// A number to a billionth: the format's own library reads longer ones to within their last bit only, so that they are
/// not the same once it has written them again.
fn survives(value: f64) -> f64 {
    format!("{value:.9}").parse().unwrap_or(value)
}

pub(super) fn metadata(script: &Script<'_>, part: &Part<'_>) -> Laid {
    let DeliveryPlan { name, frame, fps, rows, .. } = part.delivery;
    let row = |row: &crate::plan::Row| {
        let Window { x, y, width, height, roll } = row.window;
        let still = row.foremost().map_or(row.shown, Layer::slot);
        #[expect(clippy::cast_precision_loss, reason = "a shoot has fewer than 2^53 stills")]
        let still = (still.0 + 1) as f64;
        [row.position, still, x, y, width, height, roll].map(survives)
    };
    let whole = part.plan.remarks.in_order().into_iter().filter(|one| one.frames.is_none());
    Laid {
        version: env!("CARGO_PKG_VERSION"),
        script: crate::diag::path(script.path),
        shot: part.plan.shot.clone(),
        delivery: name.clone(),
        is_rendered: part.is_rendered,
        frame: [frame.width, frame.height],
        rate: fps.to_string(),
        frames: rows.len(),
        invented: part.delivery.invented(),
        columns: COLUMNS,
        rows: rows.iter().map(row).collect(),
        remarks: whole.map(|one| one.message.clone()).collect(),
        stills: stills(script, part),
    }
}

fn stills(script: &Script<'_>, part: &Part<'_>) -> Stills {
    let seen = |path: &Path| url(&(script.seen)(path));
    if let Some(recording) = &part.shoot.recording {
        return Stills::Recording(seen(&recording.path));
    }
    let Some(numbered) = numbered(part.shoot) else {
        return Stills::Files(part.shoot.slots.iter().map(|slot| file(slot).map(seen)).collect());
    };
    let fps = part.delivery.fps;
    let folder = seen(&numbered.folder);
    Stills::Sequence(Box::new(Sequence {
        metadata: Metadata::default(),
        name: String::new(),
        available_range: range(0, part.shoot.slots.len() as u64, fps),
        target_url_base: if folder.is_empty() || folder.ends_with('/') { folder } else { folder + "/" },
        name_prefix: numbered.prefix,
        name_suffix: numbered.suffix,
        start_frame: numbered.first,
        frame_step: 1,
        rate: fps.per_second(),
        frame_zero_padding: numbered.digits,
        // The format knows no skipping.
        missing_frame_policy: if part.missing == Policy::Hold { "hold" } else { "error" },
    }))
}

/// Markers at keys and at the beginnings of a reel's shots, a frame each, and over the frames of remarks.
pub(super) fn markers(part: &Part<'_>) -> Vec<Marker> {
    let (fps, last) = (part.delivery.fps, part.delivery.rows.len().saturating_sub(1) as u64);
    let mut markers = Vec::new();
    for (number, key) in part.keys.iter().enumerate() {
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a moment of a clip, not below 0")]
        let frame = (key.seconds * fps.per_second() + 1e-6).floor().max(0.0) as u64;
        // A key at the very end stands after the last frame; one of a loop beyond it, nowhere.
        if key.seconds < -1e-9 || frame > last + 1 {
            continue;
        }
        let Window { x, y, width, height, roll } = key.window;
        let roll = if roll == 0.0 { String::new() } else { format!(", roll {roll:.2}") };
        markers.push(Marker {
            metadata: Metadata::default(),
            name: format!("key {}", number + 1),
            color: "GREEN",
            marked_range: range(frame.min(last), 1, fps),
            comment: format!("{}: window {x:.1}, {y:.1}, {width:.1} x {height:.1}{roll}", key.place),
        });
    }
    for chapter in &part.delivery.extras.chapters {
        markers.push(Marker {
            metadata: Metadata::default(),
            name: chapter.name.clone(),
            color: "BLUE",
            marked_range: range(chapter.frame.min(last), 1, fps),
            comment: "a shot of the reel begins".into(),
        });
    }
    for remark in part.plan.remarks.in_order() {
        let Some(frames) = remark.frames.as_ref().filter(|frames| frames.delivery == part.delivery.name) else {
            continue;
        };
        for (first, end) in &frames.runs {
            let (first, end) = (*first as u64, (*end as u64).min(last));
            markers.push(Marker {
                metadata: Metadata::default(),
                name: "remark".into(),
                color: "RED",
                marked_range: range(first.min(end), end.saturating_sub(first) + 1, fps),
                comment: remark.message.clone(),
            });
        }
    }
    markers
}
