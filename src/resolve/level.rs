//! Levelling: which stills it goes by, what they measure, and what a person should know of it.

use std::collections::BTreeSet;
use std::ops::RangeInclusive;

use super::tables;
use super::words::{self, Ranges};
use crate::diag::{Diagnostic, Diagnostics};
use crate::level::{self, Cause, Cells, Curve, Flaw, Gain, Measured, Meter, Region, Solved, Step, Steps, Wishes};
use crate::measures::{Measures, Thumbnail, lasting_steps};
use crate::plan::{CoveredArea, Covering, Levelling, Plan, covered_in};
use crate::shoot::Shoot;
use crate::shot::{Level, LevelBy, Shot, StillBox};
use crate::units::{Size, SlotIndex};

/// What a plan is levelled by.
#[derive(Debug, Clone, Copy)]
pub enum LevelFrom<'a> {
    /// What looking at the shoot measured.
    Measures(&'a Measures),
    /// A table of gains.
    Curve(&'a Curve),
}

/// The gains of a shot's stills, with remarks on those from the first to the last that frames show. All of the shoot's
/// stills have a say, so that a still has one gain whatever part of the shoot is used. None where the shot does not ask
/// for it, or it is not known by what. Covers hide what they cover, and `sides` are the slots that begin another side of
/// a break (`breaks`).
///
/// # Errors
/// A table that is of other stills than the shoot's.
pub(super) fn resolve(
    shot: &Shot,
    shoot: &Shoot,
    from: Option<LevelFrom<'_>>,
    (covers, sides): (&[Covering], &[usize]),
    shown: impl Iterator<Item = SlotIndex>,
    remarks: &mut Diagnostics,
) -> Result<Option<Levelling>, Diagnostics> {
    let (Some(wanted), Some(from)) = (&shot.level, from) else { return Ok(None) };
    Ok(Some(match from {
        LevelFrom::Curve(curve) => given(wanted, shoot, curve, remarks)?,
        LevelFrom::Measures(measures) => {
            let hidden = Hidden::of(covers, shown.collect(), shoot.size);
            measured(wanted, shoot, (measures, sides), &hidden, remarks)
        }
    }))
}

/// By a table.
fn given(wanted: &Level, shoot: &Shoot, curve: &Curve, remarks: &mut Diagnostics) -> Result<Levelling, Diagnostics> {
    let mut gains = vec![Gain::UNCHANGED; shoot.slots.len()];
    let mut unlisted: Vec<bool> = (0..shoot.slots.len()).map(|slot| shoot.still(SlotIndex(slot)).is_some()).collect();
    for line in &curve.lines {
        tables::check_line(shoot, (line.slot, &line.name), ("gains", "level"), &wanted.place)?;
        gains[line.slot] = line.gain;
        unlisted[line.slot] = false;
    }
    let mut ranges = Ranges::default();
    unlisted.iter().enumerate().filter(|(_, unlisted)| **unlisted).for_each(|(slot, _)| ranges.add(slot));
    if !ranges.is_empty() {
        let named = ranges.named(|slot| shoot.slots[slot].name.clone());
        let message =
            format!("{} not in the table of gains are shown as they are: {named}", words::count(ranges.len(), "still"));
        remarks.push(Diagnostic::remark(message).at(&wanted.place).word("curve"));
    }
    Ok(Levelling {
        place: wanted.place.clone(),
        radius: None,
        gains,
        levels: vec![None; shoot.slots.len()],
        left: Vec::new(),
        cuts: Vec::new(),
    })
}

/// By what looking measured.
#[expect(clippy::cast_precision_loss, reason = "a shoot has fewer than 2^53 stills")]
fn measured(
    wanted: &Level,
    shoot: &Shoot,
    (measures, sides): (&Measures, &[usize]),
    hidden: &Hidden<'_>,
    said: &mut Diagnostics,
) -> Levelling {
    let LevelBy::Measured { strength, radius, region, steps, colour } = &wanted.by else {
        unreachable!("a table is not measured");
    };
    let all = (0..shoot.slots.len()).map(SlotIndex);
    let slots: Vec<SlotIndex> = all.filter(|slot| shoot.still(*slot).is_some()).collect();
    let mut meter = Meter::new(region_of(region));
    let mut begun = 0;
    let mut level = |slot: &SlotIndex| {
        let sides = sides.partition_point(|first| *first <= slot.0);
        if std::mem::replace(&mut begun, sides) != sides {
            meter.begin_side();
        }
        meter.take(&cells(measures, *slot, hidden)?)
    };
    let levels: Vec<Option<Measured>> = slots.iter().map(&mut level).collect();
    let at: Vec<f64> = slots.iter().map(|slot| slot.0 as f64).collect();
    let exposures: Vec<Option<f64>> = slots.iter().map(|slot| exposure(shoot, *slot)).collect();
    let wishes = Wishes { strength: *strength, radius: *radius, steps: *steps, colour: *colour };
    let mut solved = level::solve(&at, &levels, &exposures, &wishes);
    solved.flaws.retain(|(still, _)| hidden.used().contains(&slots[*still]));
    solved.steps.retain(|step| hidden.used().contains(&slots[step.at]));
    said.extend(remarks(wanted, shoot, &slots, &solved, *steps));
    let (mut gains, mut pairs) = (vec![Gain::UNCHANGED; shoot.slots.len()], vec![None; shoot.slots.len()]);
    for ((slot, gain), levels) in slots.iter().zip(&solved.gains).zip(&solved.levels) {
        gains[slot.0] = *gain;
        pairs[slot.0] = levels.map(|pair| pair.map(f64::exp));
    }
    let cuts = solved.steps.iter().filter(|step| step.cause != Cause::Exposure || *steps == Steps::Cut);
    Levelling {
        place: wanted.place.clone(),
        radius: Some(solved.radius),
        gains,
        levels: pairs,
        left: solved.flaws.iter().map(|(still, _)| slots[*still]).collect(),
        cuts: cuts.map(|step| slots[step.at]).collect(),
    }
}

/// The flicker of a plan's stills before and after levelling: the root mean square of each level over the mean of the
/// five around it, less one, without stills that are left as they are, and with no five across a cut or a step that lasts. After is measured
/// anew, of their small pictures levelled as the stills are. None where they were not measured, or are too few.
#[must_use]
pub fn flicker_of(plan: &Plan, shot: &Shot, shoot: &Shoot, measures: &Measures) -> Option<[f64; 2]> {
    let levelling = plan.level.as_ref()?;
    let LevelBy::Measured { region, .. } = &shot.level.as_ref()?.by else { return None };
    let mut meter = Meter::new(region_of(region));
    let hidden = Hidden::of(&plan.covers, shown(plan).collect(), shoot.size);
    let mut runs = vec![Vec::new()];
    let used = hidden.used();
    for slot in (used.start().0..=used.end().0).map(SlotIndex) {
        if levelling.cuts.contains(&slot) {
            meter.begin_side();
            runs.push(Vec::new());
        }
        let Some(cells) = cells(measures, slot, &hidden) else { continue };
        let after = meter.take(&cells.levelled(levelling.gains[slot.0]));
        let before = levelling.levels.get(slot.0).copied().flatten();
        if let (Some([before, _]), Some(after), Some(run), false) =
            (before, after, runs.last_mut(), levelling.left.contains(&slot))
        {
            run.push([before, after.level.exp()]);
        }
    }
    // Nor across a step that is joined: before, it was one.
    let steps = |run: &[[f64; 2]]| lasting_steps(&run.iter().map(|[before, _]| *before).collect::<Vec<f64>>());
    let fives: Vec<&[[f64; 2]]> = runs
        .iter()
        .flat_map(|run| {
            let steps = steps(run);
            let whole = move |first: &usize| !steps.iter().any(|step| (first + 1..first + 5).contains(step));
            let firsts = (0..(run.len() + 1).saturating_sub(5)).filter(whole);
            firsts.map(|first| &run[first..first + 5])
        })
        .collect();
    #[expect(clippy::cast_precision_loss, reason = "a shoot has fewer than 2^53 stills")]
    let count = fives.len() as f64;
    let relative = |at: usize| {
        fives.iter().map(move |five| five[2][at] / (five.iter().map(|pair| pair[at]).sum::<f64>() / 5.0) - 1.0)
    };
    (count > 0.0).then(|| [0, 1].map(|at| (relative(at).map(|off| off * off).sum::<f64>() / count).sqrt()))
}

/// A still small, without what its covers hide.
fn cells(measures: &Measures, slot: SlotIndex, hidden: &Hidden) -> Option<Cells> {
    let Thumbnail { width, height, roots } = measures.glance(slot)?.thumbnail;
    let mut cells = Cells { across: width, down: height, roots };
    hidden.areas(slot).iter().for_each(|area| cells.hide(hidden.region(area)));
    Some(cells)
}

/// What covers hide, still by still: levelling does not measure it, or gains would tell of it.
struct Hidden<'a> {
    covers: &'a [Covering],
    /// Every area of any still: hidden in those that no frame shows, whose covers nobody has resolved.
    anywhere: Vec<CoveredArea>,
    /// The slots that frames show.
    shown: BTreeSet<SlotIndex>,
    size: Size,
}

impl<'a> Hidden<'a> {
    fn of(covers: &'a [Covering], shown: BTreeSet<SlotIndex>, size: Size) -> Self {
        let mut anywhere: Vec<CoveredArea> =
            covers.iter().flat_map(|covering| covering.areas.iter().copied()).collect();
        anywhere.dedup();
        Self { covers, anywhere, shown, size }
    }

    /// The slots from the first to the last that a frame shows.
    fn used(&self) -> RangeInclusive<SlotIndex> {
        let ends = [self.shown.first(), self.shown.last()].map(|end| end.copied().unwrap_or(SlotIndex(0)));
        ends[0]..=ends[1]
    }

    fn areas(&self, slot: SlotIndex) -> &[CoveredArea] {
        if self.shown.contains(&slot) { covered_in(self.covers, slot) } else { &self.anywhere }
    }

    fn region(&self, area: &CoveredArea) -> Region {
        let (width, height) = (f64::from(self.size.width), f64::from(self.size.height));
        let across = |length: u32| f64::from(length) / width;
        let down = |length: u32| f64::from(length) / height;
        Region { x: across(area.x), y: down(area.y), width: across(area.width), height: down(area.height) }
    }
}

fn region_of(area: &Option<StillBox>) -> Region {
    area.map_or(Region::WHOLE, Region::from)
}

/// The slots that frames show, as often as they do.
fn shown(plan: &Plan) -> impl Iterator<Item = SlotIndex> {
    let rows = plan.deliveries.iter().flat_map(|delivery| &delivery.rows);
    rows.flat_map(|row| row.shares().map(|share| share.shown).chain([row.shown]))
}

/// Natural logarithm of the light that the camera's settings let in.
fn exposure(shoot: &Shoot, slot: SlotIndex) -> Option<f64> {
    let settings = &shoot.still(slot)?.settings;
    // A lens without contacts tells no aperture; it does not change by itself either.
    let without_aperture = || Some(settings.exposure? * f64::from(settings.sensitivity?));
    settings.light().or_else(without_aperture).map(f64::ln)
}

/// What a person should know: stills that are left as they are, and steps.
fn remarks(wanted: &Level, shoot: &Shoot, slots: &[SlotIndex], solved: &Solved, steps: Steps) -> Diagnostics {
    let name = |still: usize| shoot.slots[slots[still].0].name.as_str();
    let mut found = Diagnostics::default();
    let mut say = |message: String| found.push(Diagnostic::remark(message).at(&wanted.place).word("level"));
    let named = |flaw: fn(&Flaw) -> bool| {
        let mut ranges = Ranges::default();
        solved.flaws.iter().filter(|(_, one)| flaw(one)).for_each(|(still, _)| ranges.add(*still));
        (ranges.len(), ranges.named(|still| name(still).to_owned()))
    };
    let (count, which) = named(|flaw| matches!(flaw, Flaw::StandsOut(_)));
    if count > 0 {
        let worst = solved.flaws.iter().filter_map(|(still, flaw)| match flaw {
            Flaw::StandsOut(by) => Some((*still, *by)),
            Flaw::Unlike => None,
        });
        if let Some((still, by)) = worst.max_by(|(_, one), (_, other)| one.abs().total_cmp(&other.abs())) {
            let message = format!(
                "{} stand out from their neighbours' light and are left as they are: {which}",
                words::count(count, "still")
            );
            say(format!("{message} ({} is {})", name(still), stops(by)));
        }
    }
    let (count, which) = named(|flaw| *flaw == Flaw::Unlike);
    if count > 0 {
        say(format!(
            "{} cannot be compared with their neighbours and are left as they are: {which}",
            words::count(count, "still")
        ));
    }
    for Step { at, height, cause } in &solved.steps {
        let still = name(*at);
        match (cause, steps) {
            (Cause::Exposure, Steps::Join) | (Cause::Apart, _) => {}
            (Cause::Exposure, Steps::Cut) => {
                say(format!("the exposure was changed before {still}, {}: a cut", stops(*height)))
            }
            (Cause::Sudden, _) => {
                say(format!(
                    "the light changes at once before {still}, {}: left as a cut, nothing is smoothed across it",
                    stops(*height)
                ));
            }
            (Cause::View, _) => say(format!("the view changes at {still}: what follows is levelled separately")),
        }
    }
    let joined: Vec<f64> =
        solved.steps.iter().filter(|step| step.cause == Cause::Exposure).map(|step| step.height).collect();
    if steps == Steps::Join && !joined.is_empty() {
        let most = joined.iter().copied().max_by(|one, other| one.abs().total_cmp(&other.abs())).unwrap_or(0.0);
        say(format!(
            "{} of exposure, up to {}, joined into one even change",
            words::count(joined.len(), "step"),
            stops(most)
        ));
    }
    found
}

/// `0.33 stops brighter`.
fn stops(log: f64) -> String {
    let way = if log < 0.0 { "darker" } else { "brighter" };
    format!("{:.2} stops {way}", (log / std::f64::consts::LN_2).abs())
}
