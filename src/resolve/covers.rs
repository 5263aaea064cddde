//! What is hidden in the stills themselves: the script's boxes as whole pixels, still by still.
//!
//! A box only grows on the way. One that moves covers, in a still, wherever it is until the next still; fractions of
//! pixels count as whole ones; and since files smear what is covered into the pixels around it, what their coding can
//! have reached is covered with it.
//!
//! ## Decisions
//!
//! - Covers are laid over a still's decoded planes, once, before anything is resampled, so windows, rolls and means
//!   cannot get behind them. They belong to the shot, not to the source: shots of one source with other covers have
//!   passes of their own.
//! - A moving box covers, in still `k`, wherever it is from `k` to `k + 1` (its keys and nine places between). `to`
//!   takes in its still. Pixels and chroma samples that it touches at all are covered whole.
//! - A JPEG smears what is covered over its coding squares, so boxes grow to squares of 16 pixels, counted from the
//!   corner stored first, and by two pixels more for upsampled chroma (seven samples in planes with less than every
//!   other sample). Frames of recordings, WebP and HEIC grow by 32 pixels, H.265's largest transform; AVIF by 64,
//!   AV1's. Of a lossless master boxes grow as its stills' own files need, of an HEVC one as a recording's. What motion
//!   prediction carried farther is the script's to cover.
//! - `"fill"` is mid grey and holds nothing of the still. `"blur"` is the mean of each quarter of the box in each
//!   plane, rounded to the plane's codes, with even blends between the four (one mean along a side below 16 pixels): at
//!   most twelve numbers a still. All of a cover's rows are decoded for it, whichever a delivery reads.
//! - `survey --look` looks at the stills as they are. Levelling leaves out what covers hide, still by still and with a
//!   ring of cells around it (in stills that no frame shows, what any cover hides anywhere), so that no gain tells of
//!   it.

use kurbo::Rect;

use crate::curve::track::{Key, SLACK, Track};
use crate::diag::{Diagnostic, Diagnostics};
use crate::plan::{CoveredArea, Covering, Steadying};
use crate::register::Pose;
use crate::shoot::{Format, Orientation, Recording, Shoot};
use crate::shot::{Cover, CoverArea, CoverKey, Moment, Shot, StillBox};
use crate::units::{Size, SlotIndex};

use super::axis::{self, End};
use super::moments::Moments;
use super::resolved::Seen;
use super::times::number;
use super::tracked::{self, FoundAt, Sighted};
use super::words::{self, once};

/// Side in pixels of the squares that a JPEG of half the chroma samples each way is coded in (ITU-T T.81, A.2): what a
/// pixel holds is smeared over its whole square and not beyond.
const SQUARE: f64 = 16.0;

/// Pixels around those that an upsampled chroma sample reaches into, where a file is not decoded to planes.
const UPSAMPLED: f64 = 2.0;

/// Pixels around a box in a frame coded as video, lossy WebP among it: the largest transform of H.265, which also holds
/// the filters that run over the edges between blocks (our choice; a later frame may still carry traces farther away).
const PREDICTED: f64 = 32.0;

/// Pixels around a box that moves with its still: what a measured stand may be off by.
const OFF: f64 = 0.5;
/// The same in an AVIF: AV1's largest transform.
const LARGEST_AV1: f64 = 64.0;

/// Places looked at between a still and the next, for eases that swing out between the two.
const BETWEEN: u32 = 8;

/// One of the script's covers.
struct Placed {
    cover: usize,
    /// In fractions of the still, by shoot position.
    track: Track<Rect>,
    /// Where what it hides was found, where it is tracked.
    sighted: Option<Sighted>,
    slots: std::ops::Range<usize>,
}

/// What is hidden in every still that takes room on the axis; mistakes in `found`.
pub(super) fn resolve(
    shot: &Shot,
    moments: &Moments<'_>,
    (steady, known): (Option<&Steadying>, &[FoundAt]),
    found: &mut Diagnostics,
) -> Vec<Covering> {
    let mut said = Vec::new();
    let placed: Vec<Placed> = shot
        .covers
        .iter()
        .enumerate()
        .filter_map(|(index, cover)| place(index, cover, (moments, known), &mut said))
        .collect();
    found.0.extend(said);
    let mut coverings: Vec<Covering> = Vec::new();
    if placed.is_empty() {
        return coverings;
    }
    for (at, place) in moments.axis.places.iter().enumerate() {
        // A place whose own still is held shows another, which has a place of its own.
        let slot = place.slot;
        let areas: Vec<CoveredArea> = placed
            .iter()
            .filter(|one| one.slots.contains(&slot.0))
            .map(|one| one.area(shot, moments.shoot, steady, (slot, number(at))))
            .collect();
        match coverings.last_mut() {
            Some(last) if *last.areas == areas && last.last.0 + 1 == slot.0 => last.last = slot,
            _ if areas.is_empty() => {}
            _ => coverings.push(Covering { first: slot, last: slot, areas: areas.into() }),
        }
    }
    coverings
}

fn place(
    index: usize,
    cover: &Cover,
    (moments, known): (&Moments<'_>, &[FoundAt]),
    said: &mut Vec<Diagnostic>,
) -> Option<Placed> {
    let all = moments.shoot.slots.len();
    let mut edge = |moment: &Option<crate::diag::Placed<Moment>>, end: End, otherwise: usize| match moment {
        None => Some(otherwise),
        Some(moment) => axis::edge(&moment.value, end, moments.shoot, moments.times)
            .map_err(|mistake| once(mistake.at(&moment.place), said))
            .ok(),
    };
    let (from, to) = (edge(&cover.from, End::From, 0), edge(&cover.to, End::To, all));
    let keys = match &cover.area {
        CoverArea::Still(area) => {
            Some(vec![Key { at: 0.0, value: rect(*area), ease: crate::curve::ease::Ease::Linear }])
        }
        CoverArea::Keyed(keys) => keyed(keys, moments, said),
    };
    let (from, to) = (from?, to?);
    if from >= to {
        let mistake = axis::nothing_between(from, to, all).at(&cover.place).word("cover");
        once(mistake.help("a cover needs the earlier moment first"), said);
        return None;
    }
    let sighted = tracked::of_cover(cover, known, moments.axis);
    Some(Placed { cover: index, track: Track::new(keys?)?, sighted, slots: from..to })
}

fn keyed(keys: &[CoverKey], moments: &Moments<'_>, said: &mut Vec<Diagnostic>) -> Option<Vec<Key<Rect>>> {
    let mut placed: Vec<Key<Rect>> = Vec::with_capacity(keys.len());
    let mut whole = true;
    for (index, key) in keys.iter().enumerate() {
        let at = match moments.of_subject(&key.at) {
            Ok(at) => at,
            Err(mistake) => {
                once(mistake.at(&key.place), said);
                whole = false;
                continue;
            }
        };
        if placed.last().is_some_and(|before| at <= before.at + SLACK) {
            let mistake = Diagnostic::mistake("this key lies no later in the shoot than the key above it");
            let mistake = mistake.at(&key.place).word("at").with(&keys[index - 1].place, "the key above it");
            once(mistake.help("keys go in the order of the shoot, no two at the same moment"), said);
            whole = false;
        }
        placed.push(Key { at, value: rect(key.area), ease: key.ease.clone() });
    }
    whole.then_some(placed)
}

fn rect(area: StillBox) -> Rect {
    Rect::new(area.x, area.y, area.x + area.width, area.y + area.height)
}

impl Placed {
    /// What it hides in a slot's still, whose place on the axis begins at a position.
    fn area(
        &self,
        shot: &Shot,
        shoot: &Shoot,
        steady: Option<&Steadying>,
        (slot, position): (SlotIndex, f64),
    ) -> CoveredArea {
        let at = |position: f64| {
            let area = self.track.at(position, |from, to, u| {
                let along = |from: f64, to: f64| from + (to - from) * u;
                Rect::new(along(from.x0, to.x0), along(from.y0, to.y0), along(from.x1, to.x1), along(from.y1, to.y1))
            });
            area.abs()
        };
        let keys = self.track.keys().iter().map(|key| key.at).filter(|at| (position..=position + 1.0).contains(at));
        let between = (0..=BETWEEN).map(|step| position + f64::from(step) / f64::from(BETWEEN));
        let area = match &self.sighted {
            // Found still by still, it is where it is in each.
            Some(sighted) => sighted.cover(sighted.place(position)),
            None => keys.chain(between).map(at).reduce(|all, one| all.union(one)).unwrap_or(Rect::ZERO),
        };
        let still = shoot.size;
        let (width, height) = (f64::from(still.width), f64::from(still.height));
        let area = Rect::new(area.x0 * width, area.y0 * height, area.x1 * width, area.y1 * height);
        let area = steady.map_or(area, |steady| moved(area, steady, slot));
        let area = smeared(area, shoot, slot);
        // A millionth of a pixel is a rounding of fractions, and would cover a whole row.
        let low = |at: f64, most: u32| whole((at + 1e-6).floor(), most - 1);
        let high = |at: f64, most: u32| whole((at - 1e-6).ceil(), most);
        let (x, y) = (low(area.x0, still.width), low(area.y0, still.height));
        let (right, bottom) = (high(area.x1, still.width).max(x + 1), high(area.y1, still.height).max(y + 1));
        let with = shot.covers[self.cover].with;
        CoveredArea { cover: self.cover, x, y, width: right - x, height: bottom - y, with }
    }
}

/// Where in a slot's still an area of the first view can lie: the upright box around it from where the still stands,
/// and from where its neighbours do if that could not be told.
fn moved(area: Rect, steady: &Steadying, slot: SlotIndex) -> Rect {
    let at = |stand: Pose| {
        if stand == Pose::STILL {
            return area;
        }
        let corners = [(area.x0, area.y0), (area.x1, area.y0), (area.x0, area.y1), (area.x1, area.y1)];
        let points = corners.map(|corner| stand.point(steady.still, corner.into()));
        let around = Rect::from_points(points[0], points[1]).union_pt(points[2]).union_pt(points[3]);
        around.inflate(OFF, OFF)
    };
    let own = at(steady.stand(slot));
    let is_placed = |other: &usize| steady.unplaced.binary_search(&SlotIndex(*other)).is_err();
    if is_placed(&slot.0) {
        return own;
    }
    let before = (0..slot.0).rev().find(is_placed);
    let after = (slot.0 + 1..steady.stands.len()).find(is_placed);
    [before, after].into_iter().flatten().fold(own, |all, other| all.union(at(steady.stand(SlotIndex(other)))))
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped to the still")]
fn whole(at: f64, most: u32) -> u32 {
    at.clamp(0.0, f64::from(most)) as u32
}

/// An area of the upright still with all that its file's coding can have smeared it into.
fn smeared(area: Rect, shoot: &Shoot, slot: SlotIndex) -> Rect {
    // Of a lossless master what the still's own file smeared, and nothing else.
    let lossless = |recording: &Recording| recording.master.as_ref().is_some_and(|master| master.lossless);
    if shoot.recording.as_ref().is_some_and(|recording| !lossless(recording)) {
        return area.inflate(PREDICTED, PREDICTED);
    }
    let Some(still) = shoot.still(slot) else { return area };
    match still.format {
        Format::Png | Format::Tiff => area,
        Format::Webp | Format::Frame | Format::Heic => area.inflate(PREDICTED, PREDICTED),
        Format::Avif => area.inflate(LARGEST_AV1, LARGEST_AV1),
        Format::Jpeg => {
            on_squares(area, still.orientation.upright(still.stored), still.orientation).inflate(UPSAMPLED, UPSAMPLED)
        }
    }
}

/// Grown to whole squares, which are counted from the corner that is the first as stored.
fn on_squares(area: Rect, upright: Size, orientation: Orientation) -> Rect {
    use Orientation::{Flipped, HalfTurn, Mirrored, QuarterAnticlockwise, QuarterClockwise, Transversed};
    let from_right = matches!(orientation, Mirrored | HalfTurn | QuarterClockwise | Transversed);
    let from_bottom = matches!(orientation, Flipped | HalfTurn | QuarterAnticlockwise | Transversed);
    let grown = |low: f64, high: f64, length: u32, reversed: bool| {
        let length = f64::from(length);
        let (from, to) = if reversed { (length - high, length - low) } else { (low, high) };
        let (from, to) = (((from + 1e-6) / SQUARE).floor() * SQUARE, ((to - 1e-6) / SQUARE).ceil() * SQUARE);
        if reversed { (length - to, length - from) } else { (from, to) }
    };
    let (x0, x1) = grown(area.x0, area.x1, upright.width, from_right);
    let (y0, y1) = grown(area.y0, area.y1, upright.height, from_bottom);
    Rect::new(x0, y0, x1, y1)
}

/// Whether a cover hides anything in a slot's still.
pub(super) fn hides(cover: &Cover, moments: &Moments<'_>, slot: SlotIndex) -> bool {
    place(0, cover, (moments, &[]), &mut Vec::new()).is_some_and(|placed| placed.slots.contains(&slot.0))
}

/// Says of every cover how much of the still it takes, or that no frame would have shown what it hides.
pub(super) fn remark(seen: &Seen<'_>, found: &mut Diagnostics) {
    let all = seen.shoot.size.pixels();
    let mut shown = vec![false; seen.shot.covers.len()];
    for row in seen.made.plan.deliveries.iter().flat_map(|plan| &plan.rows) {
        if shown.iter().all(|shown| *shown) {
            break;
        }
        for (layer, _) in row.layers.each() {
            let window = layer.window.bounds();
            for area in &*layer.still.covers {
                let [x, y, right, bottom] = [area.x, area.y, area.x + area.width, area.y + area.height].map(f64::from);
                shown[area.cover] |= right > window.x && x < window.right() && bottom > window.y && y < window.bottom();
            }
        }
    }
    for (index, cover) in seen.shot.covers.iter().enumerate() {
        let say = |message: String| Diagnostic::remark(message).at(&cover.place).word("cover");
        if !shown[index] {
            found.push(say("no frame of any delivery shows what this cover hides: it has no effect".into()));
            continue;
        }
        let areas =
            seen.made.plan.covers.iter().flat_map(|covering| covering.areas.iter().map(move |area| (covering, area)));
        let own: Vec<_> = areas.filter(|(_, area)| area.cover == index).collect();
        let pixels = |area: &CoveredArea| u64::from(area.width) * u64::from(area.height);
        let (Some((first, _)), Some((last, _)), Some((_, most))) =
            (own.first(), own.last(), own.iter().max_by_key(|(_, area)| pixels(area)))
        else {
            continue;
        };
        #[expect(clippy::cast_precision_loss, reason = "pixels of a still are far below 2^53")]
        let percent = pixels(most) as f64 * 100.0 / all as f64;
        found.push(say(format!(
            "this cover takes at most {} % of the still, {} by {} px with what its file smears around it, in still({}) to still({})",
            words::figure(percent),
            most.width,
            most.height,
            first.first.0 + 1,
            last.last.0 + 1
        )));
    }
}
