//! What the pixels of a shoot say is wrong with it, and what to do. Where no source stands beside a threshold it is our
//! choice.

#![expect(clippy::cast_precision_loss, reason = "counts of stills, and slots")]

use crate::finding::{Finding, Gravity, cuts, stills};
use crate::measures::{self, Measures, Oddity, Spots, Step};
use crate::shoot::Shoot;
use crate::units::SlotIndex;

/// Flicker below this is not reported. Common practice, no source.
const FLICKER: f64 = 0.005;
/// A still is much brighter or darker than its neighbours by more than this factor (natural logarithm).
const MUCH: f64 = 0.35;
/// Bright stills in a row differ by more than this share of the brightest where the light itself comes and goes.
const COMES_AND_GOES: f64 = 0.2;
/// A bump is undone by the next step where what is left is less than this share of it, and half of the least bump more.
const BACK: f64 = 0.3;
/// Minimum bump: in pixels, and in multiples of the usual shift.
const BUMP: f64 = 0.5;
const BUMP_TIMES: f64 = 8.0;
/// Minimum sag over the whole shoot: in pixels, and in multiples of the shaking.
const SAG: f64 = 1.5;
const SAG_TIMES: f64 = 5.0;
/// A still is soft below this share of the sharpness around it.
const SOFT: f64 = 0.8;
/// A shoot has gone soft below this share of its sharpest tenth.
const SOFTENED: f64 = 0.7;
/// Stripes are reported where rows of two stills differ by at least this much, …
const STRIPES: f64 = 0.004;
/// … and this share of the steps has about the same number of them.
const AS_MANY: f64 = 0.6;
/// Minimum number of steps to know what is usual.
const ENOUGH: usize = 5;
/// Settings that change the light by more than this are a step (natural logarithm).
const EXPOSED: f64 = 0.05;

/// What looking found, as people read it.
#[must_use]
pub fn in_words(measures: &Measures) -> String {
    let percent = |share: f64| (share * 1000.0).round() / 10.0;
    let fold = |of: &dyn Fn(&crate::measures::Still) -> f64, with: fn(f64, f64) -> f64, from: f64| {
        measures.measured().map(|(_, still)| of(still)).fold(from, with)
    };
    let darkest = fold(&|still| still.luminance, f64::min, 1.0);
    let lightest = fold(&|still| still.luminance, f64::max, 0.0);
    let white = fold(&|still| still.white, f64::max, 0.0);
    let mut out = format!(
        "\nlight: {} % to {} % of white in the mean, flicker {} %\n",
        percent(darkest),
        percent(lightest),
        (flicker(measures) * 1e4).round() / 100.0
    );
    if white > 0.01 {
        out += &format!("  up to {} % of a picture is pure white: no script brings that back\n", percent(white));
    }
    let furthest = measures.steps.iter().filter_map(|step| step.place).map(|[x, y]| x.hypot(y)).fold(0.0, f64::max);
    out += &format!("camera: the picture lies {:.1} px at most from where it began\n", furthest);
    let mut activity: Vec<f64> = measures.steps.iter().map(|step| step.activity).collect();
    activity.sort_by(f64::total_cmp);
    if let (Some(middle), Some(most)) = (activity.get(activity.len() / 2), activity.last()) {
        out += &format!(
            "movement: {} % of the picture changes from still to still, {} % at most\n",
            percent(*middle),
            percent(*most)
        );
    }
    out
}

/// What is wrong.
#[must_use]
pub fn findings(shoot: &Shoot, measures: &Measures) -> Vec<Finding> {
    let mut found = Vec::new();
    odd(measures, &mut found);
    light(shoot, measures, &mut found);
    camera(measures, &mut found);
    sharpness(measures, &mut found);
    stripes(measures, &mut found);
    spots(measures, &mut found);
    found
}

/// Oddities that make a still useless for comparing it with others.
fn spoils(oddity: &Oddity) -> bool {
    !matches!(oddity, Oddity::Same | Oddity::Torn { .. })
}

fn spoilt(measures: &Measures) -> Vec<SlotIndex> {
    measures.odd.iter().filter(|(_, oddity)| spoils(oddity)).map(|(slot, _)| *slot).collect()
}

/// Steps between stills with nothing odd about them.
fn sound(measures: &Measures) -> Vec<&Step> {
    let spoilt = spoilt(measures);
    measures.steps.iter().filter(|step| !spoilt.contains(&step.from) && !spoilt.contains(&step.to)).collect()
}

/// Flicker of the stills with nothing odd about them, as a share of their light (see [`crate::measures::flicker`]).
#[must_use]
pub fn flicker(measures: &Measures) -> f64 {
    let spoilt = spoilt(measures);
    // Levels on either side of a spoilt still are not sure enough of each other.
    let levels = measures.levels();
    let runs = levels.split(|(slot, _)| spoilt.contains(slot)).filter(|run| !run.is_empty());
    let (squares, count) = runs.fold((0.0, 0), |(squares, count), run| {
        let flicker = measures::flicker(&run.iter().map(|(_, level)| *level).collect::<Vec<_>>());
        (squares + flicker * flicker * run.len() as f64, count + run.len())
    });
    if count == 0 { 0.0 } else { (squares / count as f64).sqrt() }
}

fn odd(measures: &Measures, found: &mut Vec<Finding>) {
    let of = |wanted: fn(&Oddity) -> bool| -> Vec<SlotIndex> {
        measures.odd.iter().filter(|(_, oddity)| wanted(oddity)).map(|(slot, _)| *slot).collect()
    };
    let sun = sun(measures);
    let not_sun = |slots: Vec<SlotIndex>| slots.into_iter().filter(|slot| !sun.contains(slot)).collect::<Vec<_>>();
    let displaced = displaced(measures);
    let not_displaced = |slots: Vec<SlotIndex>| -> Vec<SlotIndex> {
        slots.into_iter().filter(|slot| !displaced.iter().any(|(at, ..)| at == slot)).collect()
    };
    let mut say = |gravity, kind, slots: Vec<SlotIndex>, words: [&str; 2], advice: &str| {
        if !slots.is_empty() {
            let words = if slots.len() == 1 { words[0] } else { words[1] };
            let advice = format!("{advice}{}", cuts(&slots));
            found.push(Finding::new(gravity, kind, format!("{} {words}", stills(&slots)), advice).about(slots));
        }
    };
    say(
        Gravity::Lost,
        "torn",
        of(|oddity| matches!(oddity, Oddity::Torn { .. })),
        ["shows two moments in one picture", "show two moments in one picture"],
        "the file was read while the camera was still writing it; leave it out: ",
    );
    say(
        Gravity::Lost,
        "band",
        of(|oddity| matches!(oddity, Oddity::Band { .. })),
        [
            "has a band from side to side that no still around it has",
            "have a band from side to side that no still around them has",
        ],
        "damaged data that still decodes, or something close to the lens; look at it, and leave it out: ",
    );
    say(
        Gravity::Seen,
        "black",
        of(|oddity| matches!(oddity, Oddity::Black)),
        ["is black", "are black"],
        "a lens cap, a failed shutter, or night; leave it out: ",
    );
    say(
        Gravity::Seen,
        "white",
        of(|oddity| matches!(oddity, Oddity::White)),
        ["is white", "are white"],
        "far too long an exposure; leave it out: ",
    );
    say(
        Gravity::Seen,
        "flash",
        not_sun(of(|oddity| matches!(oddity, Oddity::Flash(by) if *by > MUCH))),
        ["is much brighter than the stills around it", "are much brighter than the stills around them"],
        "headlights, a flash, an exposure error, or the sun for a moment; look at it, and leave it out: ",
    );
    say(
        Gravity::Seen,
        "dark",
        of(|oddity| matches!(oddity, Oddity::Dark(by) if *by < -MUCH)),
        ["is much darker than the stills around it", "are much darker than the stills around them"],
        "something in front of the lens, or an exposure error; look at it, and leave it out: ",
    );
    say(
        Gravity::Known,
        "sun",
        sun.clone(),
        ["is brighter for a moment", "are brighter for a moment, each by another amount"],
        "the sun between clouds, most likely; where it disturbs, leave it out: ",
    );
    say(
        Gravity::Seen,
        "flash",
        not_sun(of(|oddity| matches!(oddity, Oddity::Flash(by) if *by <= MUCH))),
        ["is brighter than the stills around it", "are each brighter than the stills around them"],
        "an exposure error, a lamp, or the sun for a moment; level = true in the shot evens it out, or leave it out: ",
    );
    say(
        Gravity::Seen,
        "dark",
        of(|oddity| matches!(oddity, Oddity::Dark(by) if *by >= -MUCH)),
        ["is darker than the stills around it", "are each darker than the stills around them"],
        "an exposure error, or a shadow for a moment; level = true in the shot evens it out, or leave it out: ",
    );
    say(
        Gravity::Seen,
        "other",
        not_displaced(of(|oddity| matches!(oddity, Oddity::Other(_)))),
        ["shows another picture than the stills around it", "show another picture than the stills around them"],
        "a bird, a hand, a knock; look at it, and leave it out: ",
    );
    say(
        Gravity::Known,
        "same",
        of(|oddity| matches!(oddity, Oddity::Same)),
        ["shows the same picture as the one before", "show the same picture as the one before"],
        "the camera gave its last picture again; movement stops there for a moment, unless you leave it out: ",
    );
}

/// Bright stills in a row of two or three whose light comes and goes: a lamp or a wrong exposure has one amount.
fn sun(measures: &Measures) -> Vec<SlotIndex> {
    let bright: Vec<(SlotIndex, f64)> = measures
        .odd
        .iter()
        .filter_map(|(slot, oddity)| if let Oddity::Flash(by) = oddity { Some((*slot, *by)) } else { None })
        .collect();
    let runs = bright.chunk_by(|(one, _), (next, _)| one.0 + 1 == next.0);
    let comes_and_goes = |run: &&[(SlotIndex, f64)]| {
        let (least, most) =
            run.iter().fold((f64::INFINITY, 0.0_f64), |(least, most), (_, by)| (least.min(*by), most.max(*by)));
        run.len() > 1 && most - least > COMES_AND_GOES * most
    };
    runs.filter(comes_and_goes).flatten().map(|(slot, _)| *slot).collect()
}

fn light(shoot: &Shoot, measures: &Measures, found: &mut Vec<Finding>) {
    let share = flicker(measures);
    if share > FLICKER {
        let message =
            format!("the light flickers by {:.1} % from still to still, not counting slow changes", share * 100.0);
        let advice = "level = true in the shot removes it; next time set exposure, white balance and aperture by hand, and stop \
                      the aperture from closing anew for every still";
        found.push(Finding::new(Gravity::Seen, "flicker", message, advice));
    }
    let settings = |slot: SlotIndex| shoot.still(slot).and_then(|still| still.settings.light());
    let steps = measures.steps.iter().filter_map(|step| {
        let due = (settings(step.to)? / settings(step.from)?).ln();
        Some((step.to, due, step.brighter?)).filter(|_| due.abs() > EXPOSED)
    });
    let (seen, followed): (Vec<_>, Vec<_>) = steps.partition(|(_, due, seen)| (seen - due).abs() < due.abs() / 2.0);
    let slots = |of: &[(SlotIndex, f64, f64)]| of.iter().map(|(slot, ..)| *slot).collect::<Vec<_>>();
    if !seen.is_empty() {
        let at = slots(&seen);
        let most = seen.iter().map(|(_, due, _)| due.abs()).fold(0.0, f64::max) / std::f64::consts::LN_2;
        let message = format!(
            "the exposure was changed, by {most:.1} stops at most, and the picture with it, at {}",
            stills(&at)
        );
        let advice =
            "brightness jumps there: level = true joins it into an even change, or end one shot and begin another";
        found.push(Finding::new(Gravity::Seen, "exposure-step", message, advice).about(at));
    }
    if !followed.is_empty() {
        let at = slots(&followed);
        let message = format!(
            "the settings changed and the picture hardly did, at {}: the exposure followed the light",
            stills(&at)
        );
        found.push(
            Finding::new(Gravity::Known, "exposure-follows", message, "nothing needs to be done there").about(at),
        );
    }
}

fn camera(measures: &Measures, found: &mut Vec<Finding>) {
    let shifts: Vec<(SlotIndex, f64)> =
        sound(measures).into_iter().filter_map(|step| step.shift.map(|[x, y]| (step.to, x.hypot(y)))).collect();
    let shaking = super::shaking::shaking(&sound(measures));
    if let Some(rms) = shaking {
        let message =
            format!("the camera shakes: from still to still the picture lies {rms:.1} px off, root mean square");
        let advice = "steady = true in the shot undoes it; shelter the tripod from the wind, set it lower, and mind that nothing can topple on anyone";
        found.push(Finding::new(Gravity::Seen, "shake", message, advice));
    }
    let usual = median(shifts.iter().map(|(_, shift)| *shift).collect());
    let least = BUMP.max(BUMP_TIMES * usual);
    let mut bumps: Vec<(SlotIndex, f64)> = shifts.iter().filter(|(_, shift)| *shift > least).copied().collect();
    let displaced = displaced(measures);
    bumps.retain(|(slot, _)| !displaced.iter().any(|(at, next, _)| slot == at || slot == next));
    if !displaced.is_empty() {
        let at: Vec<SlotIndex> = displaced.iter().map(|(slot, ..)| *slot).collect();
        let most = displaced.iter().map(|(.., far)| *far).fold(0.0, f64::max);
        let verb = if at.len() == 1 { "lies" } else { "lie" };
        let message = format!("{} {verb} elsewhere than the stills around, by {most:.1} px at most", stills(&at));
        let advice = format!(
            "a gust or a knock that went by: steady = true in the shot undoes it, or leave it out: {}",
            cuts(&at)
        );
        found.push(Finding::new(Gravity::Seen, "displaced", message, advice).about(at));
    }
    let at: Vec<SlotIndex> = bumps.iter().map(|(slot, _)| *slot).collect();
    if !bumps.is_empty() {
        let most = bumps.iter().map(|(_, shift)| *shift).fold(0.0, f64::max);
        let message = format!("the camera moved, by {most:.1} px at most, at {}", stills(&at));
        let advice = "the picture jumps there: steady = true in the shot undoes it, or end one shot and begin another at that still (from, to); weigh the tripod down";
        found.push(Finding::new(Gravity::Seen, "bump", message, advice).about(at.iter().copied()));
    }
    sag(measures, (&at, shaking), found);
}

/// Stills that lie elsewhere between two that lie alike, each with the next and how far: no bump and another one back.
fn displaced(measures: &Measures) -> Vec<(SlotIndex, SlotIndex, f64)> {
    let shifted: Vec<f64> =
        sound(measures).into_iter().filter_map(|step| step.shift.map(|[x, y]| x.hypot(y))).collect();
    let least = BUMP.max(BUMP_TIMES * median(shifted));
    // What lies far off looks like another picture.
    let is_spoilt = |slot: SlotIndex| {
        let other = |oddity: &Oddity| spoils(oddity) && !matches!(oddity, Oddity::Other(_));
        measures.odd.iter().any(|(at, oddity)| *at == slot && other(oddity))
    };
    let undone = |pair: &[Step]| {
        let [one, other] = pair else { return None };
        let (there, back) = (one.shift?, other.shift?);
        let far = there[0].hypot(there[1]).min(back[0].hypot(back[1]));
        let left = (there[0] + back[0]).hypot(there[1] + back[1]);
        let returns = far > least && left < BACK * far + BUMP / 2.0;
        (returns && ![one.from, one.to, other.to].into_iter().any(is_spoilt)).then_some((one.to, other.to, far))
    };
    measures.steps.windows(2).filter_map(undone).collect()
}

/// What the camera moved by between its bumps, slowly; where it shakes, by far more than that.
fn sag(measures: &Measures, (bumps, shaking): (&[SlotIndex], Option<f64>), found: &mut Vec<Finding>) {
    let places: Vec<(SlotIndex, [f64; 2])> =
        sound(measures).into_iter().filter_map(|step| Some((step.to, step.place?))).collect();
    let stretches = places.chunk_by(|_, (slot, _)| !bumps.contains(slot)).filter(|stretch| stretch.len() >= 2 * ENOUGH);
    let drift = |stretch: &[(SlotIndex, [f64; 2])]| {
        let ends = (stretch.len() / 10).max(ENOUGH / 2);
        let middle =
            |part: &[(SlotIndex, [f64; 2])], axis: usize| median(part.iter().map(|(_, place)| place[axis]).collect());
        let moved = |axis| middle(&stretch[stretch.len() - ends..], axis) - middle(&stretch[..ends], axis);
        f64::hypot(moved(0), moved(1))
    };
    let furthest = stretches.map(drift).fold(0.0, f64::max);
    if furthest > SAG.max(SAG_TIMES * shaking.unwrap_or(0.0)) {
        let message = format!("the camera sags: the picture drifts by {furthest:.1} px");
        let advice = "steady = true in the shot undoes it; tighten the head, and let it settle before the first still";
        found.push(Finding::new(Gravity::Known, "sag", message, advice));
    }
}

fn sharpness(measures: &Measures, found: &mut Vec<Finding>) {
    const AROUND: usize = 7;
    let spoilt = spoilt(measures);
    let sharp: Vec<(SlotIndex, f64)> = measures
        .measured()
        .filter(|(slot, _)| !spoilt.contains(slot))
        .map(|(slot, still)| (slot, still.sharpness))
        .collect();
    if sharp.len() < 2 * ENOUGH {
        return;
    }
    let usual = |at: usize| {
        let around = &sharp[at.saturating_sub(AROUND)..(at + AROUND + 1).min(sharp.len())];
        median(around.iter().map(|(_, sharpness)| *sharpness).collect())
    };
    let soft = sharp.iter().enumerate().filter(|(at, (_, sharpness))| *sharpness < SOFT * usual(*at));
    let dips: Vec<SlotIndex> = soft.map(|(_, (slot, _))| *slot).collect();
    if !dips.is_empty() {
        let verb = if dips.len() == 1 { "is" } else { "are" };
        let message = format!("{} {verb} softer than those around", stills(&dips));
        let advice = format!("a knock, a gust or a focus error; look at it, and leave it out: {}", cuts(&dips));
        found.push(Finding::new(Gravity::Seen, "soft", message, advice).about(dips.iter().copied()));
    }
    let lasting: Vec<(SlotIndex, f64)> = sharp.iter().filter(|(slot, _)| !dips.contains(slot)).copied().collect();
    let tenth = (lasting.len() / 10).max(ENOUGH);
    let blocks: Vec<(SlotIndex, f64)> = lasting
        .chunks(tenth)
        .filter(|block| block.len() * 2 >= tenth)
        .map(|block| (block[0].0, median(block.iter().map(|(_, sharpness)| *sharpness).collect())))
        .collect();
    let sharpest = blocks.iter().map(|(_, sharpness)| *sharpness).fold(0.0, f64::max);
    let softened = blocks.iter().find(|(_, sharpness)| *sharpness < SOFTENED * sharpest);
    if let Some((slot, sharpness)) = softened {
        let lost = 100.0 * (1.0 - sharpness / sharpest);
        let message =
            format!("the picture is softer from about still {} on: {lost:.0} % of its sharpness is gone", slot.0 + 1);
        let advice =
            "dew or dust on the lens, fog, or a focus that crept; next time a heating band, and the focus taped down";
        found.push(Finding::new(Gravity::Seen, "softened", message, advice).about([*slot]));
    }
}

fn stripes(measures: &Measures, found: &mut Vec<Finding>) {
    let stripes: Vec<[f64; 2]> = sound(measures).into_iter().filter_map(|step| step.stripes).collect();
    let compared = sound(measures).len();
    if stripes.len() < ENOUGH {
        return;
    }
    let waves = median(stripes.iter().map(|[waves, _]| *waves).collect());
    let share = median(stripes.iter().map(|[_, share]| *share).collect());
    let as_many = stripes.iter().filter(|[many, _]| (many - waves).abs() <= 1.0).count();
    if share > STRIPES && as_many as f64 >= AS_MANY * compared as f64 {
        let message = format!(
            "about {waves:.0} stripes run across the picture and wander: lamps on the mains, {:.1} % of the light",
            share * 100.0
        );
        let advice = "next time expose for whole periods of the mains (1/50 s or 1/60 s and their multiples); evening out the light of \
                      whole stills does not remove them";
        found.push(Finding::new(Gravity::Seen, "stripes", message, advice));
    }
}

/// What lies on the sensor, place by place.
fn spots(measures: &Measures, found: &mut Vec<Finding>) {
    const SHOWN: usize = 6;
    let places = |of: &mut dyn Iterator<Item = [u32; 2]>, count: usize| {
        let shown = of.take(SHOWN).map(|[x, y]| format!("px({x}, {y})")).collect::<Vec<_>>().join(", ");
        if count > SHOWN { format!("{shown} and {} more", count - SHOWN) } else { shown }
    };
    let Some(Spots { hot, dust }) = &measures.spots else { return };
    if !hot.is_empty() {
        let what = if hot.len() == 1 { "a point shines on the same pixel" } else { "points shine on the same pixels" };
        let count = if hot.len() == 1 { String::new() } else { format!("{} ", hot.len()) };
        let message =
            format!("{count}{what} in every still looked at whole: {}", places(&mut hot.iter().copied(), hot.len()));
        let advice = "hot pixels, or lamps too far away to tell from them; a window that keeps clear of them, or shows the still at half its \
                      size, hides them; next time let the camera map them out, or take a dark frame";
        found.push(Finding::new(Gravity::Known, "hot-pixels", message, advice));
    }
    if !dust.is_empty() {
        let what = if dust.len() == 1 { "a soft dark spot stays" } else { "soft dark spots stay" };
        let count = if dust.len() == 1 { String::new() } else { format!("{} ", dust.len()) };
        let widest = dust.iter().map(|dust| dust.across).max().unwrap_or(0);
        let message = format!(
            "{count}{what} in place while the picture changes, up to about {widest} px wide: {}",
            places(&mut dust.iter().map(|dust| dust.at), dust.len())
        );
        let advice =
            "dust on the sensor; a window that keeps clear of it, or a wider aperture next time; clean the sensor";
        found.push(Finding::new(Gravity::Known, "dust", message, advice));
    }
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    let middle = values.len() / 2;
    match values.len() {
        0 => 0.0,
        count if count % 2 == 1 => values[middle],
        _ => f64::midpoint(values[middle - 1], values[middle]),
    }
}
