//! Stills chosen by their own clock: hours, days, and the steps of a clock.

use jiff::civil::{Date, Time};
use stillpath::diag::Placed;
use stillpath::plan::{BreakCause, Plan};
use stillpath::resolve::When;
use stillpath::shoot::Shoot;
use stillpath::shot::{Between, Cut, Days, Hours, Moment, Pace, Policy, Rate, Shot};

use super::build::*;

fn hours(mut shot: Shot, from: &str, to: &str) -> Shot {
    let time = |text: &str| text.parse::<Time>().unwrap();
    shot.source.chosen.hours = Some(Placed::new(Hours { from: time(from), to: time(to) }, line(22)));
    shot
}

fn days(mut shot: Shot, days: Days) -> Shot {
    shot.source.chosen.days = Some(Placed::new(days, line(23)));
    shot
}

fn only(mut shot: Shot, seconds: f64) -> Shot {
    shot.source.chosen.only = Some(Placed::new(seconds, line(24)));
    shot
}

fn dates(given: &[(&str, &str)]) -> Days {
    let date = |text: &str| text.parse::<Date>().unwrap();
    Days::Dates(given.iter().map(|(first, last)| [date(first), date(last)]).collect())
}

/// The first delivery's stills at one a frame, each by its time: `4 20:00` is the fourth of the month.
fn taken(plan: &Plan, shoot: &Shoot) -> Vec<String> {
    let time = |row: &stillpath::plan::Row| shoot.captured(row.shown).unwrap().local.strftime("%-d %H:%M").to_string();
    plan.deliveries[0].rows.iter().map(time).collect()
}

fn breaks(plan: &Plan) -> Vec<(usize, usize, BreakCause)> {
    plan.breaks.iter().map(|one| (one.before.0 + 1, one.after.0 + 1, one.why)).collect()
}

/// A still every six hours from Thursday the 3rd of June 2027, 03:00, over five days.
fn week() -> Shoot {
    shoot_every(20, "2027-06-03T03:00:00", 21_600.0)
}

#[test]
fn hours_leave_the_night_out_with_both_ends_in_and_a_break_between_the_days() {
    let shot = hours(shot(), "09:00", "15:00");
    let plan = plan(&shot, &week());
    assert_eq!(taken(&plan, &week())[..4], ["3 09:00", "3 15:00", "4 09:00", "4 15:00"]);
    assert_eq!((plan.tally.used, plan.tally.hours, plan.tally.cut), (10, 10, 0));
    assert_eq!(breaks(&plan)[..2], [(3, 6, BreakCause::Hours), (7, 10, BreakCause::Hours)]);
    assert_eq!(breaks(&plan).len(), 4);
    assert!(stillpath::plan::summary(&plan).contains("stills: 20 = 10 used + 10 left out by hours"));
    // A second outside is out.
    let narrow = super::build::plan(&hours(shot, "09:00:01", "15:00"), &week());
    assert_eq!(taken(&narrow, &week())[..2], ["3 15:00", "4 15:00"]);
}

#[test]
fn hours_that_go_over_midnight_keep_the_night() {
    let plan = plan(&hours(shot(), "20:00", "04:00"), &week());
    assert_eq!(taken(&plan, &week())[..5], ["3 03:00", "3 21:00", "4 03:00", "4 21:00", "5 03:00"]);
    assert_eq!(breaks(&plan)[..2], [(1, 4, BreakCause::Hours), (5, 8, BreakCause::Hours)]);
}

#[test]
fn days_are_those_of_the_week_or_of_a_list_and_go_by_each_stills_own_date() {
    let seen = |chosen: Days| taken(&plan(&days(shot(), chosen), &week()), &week());
    let weekdays = seen(Days::Weekdays);
    assert_eq!((weekdays.len(), &*weekdays[7], &*weekdays[8]), (12, "4 21:00", "7 03:00"));
    assert_eq!(seen(Days::Weekends)[..2], ["5 03:00", "5 09:00"]);
    let listed = seen(dates(&[("2027-06-03", "2027-06-03"), ("2027-06-06", "2027-06-30")]));
    assert_eq!((listed.len(), &*listed[3], &*listed[4]), (12, "3 21:00", "6 03:00"));
    let plan = plan(&hours(days(shot(), Days::Weekdays), "09:00", "15:00"), &week());
    assert_eq!(taken(&plan, &week()), ["3 09:00", "3 15:00", "4 09:00", "4 15:00", "7 09:00", "7 15:00"]);
    assert_eq!((plan.tally.days, plan.tally.hours, plan.tally.used), (8, 6, 6));
    assert_eq!(breaks(&plan), [(3, 6, BreakCause::Hours), (7, 18, BreakCause::Days)]);
}

#[test]
fn only_takes_the_still_nearest_to_each_step_and_no_other() {
    let minutes = ["07:57", "08:04", "08:20", "08:50", "09:09", "09:31", "10:27", "12:40"];
    let times: Vec<String> = minutes.iter().map(|time| format!("2027-06-03T{time}:00")).collect();
    let shoot = shoot_at(&times.iter().map(String::as_str).collect::<Vec<_>>(), 1200.0);
    let plan = plan(&only(shot(), 3600.0), &shoot);
    // 08:20 is nearest to 8, as 07:57 is and nearer; 09:31 and 10:27 both to 10, and the later by 2 minutes less.
    assert_eq!(taken(&plan, &shoot), ["3 07:57", "3 09:09", "3 10:27", "3 12:40"]);
    assert_eq!((plan.tally.only, plan.tally.used), (4, 4));
    assert_eq!(breaks(&plan), [], "what is thinned out is no break");
    // Steps go on from the first midnight, whatever the day: every 7 hours from the 3rd, 00:00.
    let seven = super::build::plan(&only(shot(), 25_200.0), &week());
    // Of 4 15:00 and 4 21:00, both three hours from 42 h, the earlier; so too of 6 09:00 and 6 15:00.
    let days = [(3, "03 09 15 21"), (4, "03 09 15"), (5, "03 09 15 21"), (6, "03 09 21"), (7, "03 09 15 21")];
    let due = days.iter().flat_map(|(day, hours)| hours.split(' ').map(move |hour| format!("{day} {hour}:00")));
    assert_eq!(taken(&seven, &week()), due.collect::<Vec<_>>());
}

#[test]
fn a_gap_of_a_thinned_shoot_is_more_than_ten_steps() {
    // A still a minute for two hours, nothing for so many, and two hours more.
    let gap = |hours: i64| {
        let minute = |minute: i64| minute + if minute < 120 { 0 } else { hours * 60 };
        let first: jiff::civil::DateTime = "2027-06-03T06:00:00".parse().unwrap();
        let times: Vec<String> = (0..240)
            .map(|at| first.checked_add(jiff::SignedDuration::from_mins(minute(at))).unwrap().to_string())
            .collect();
        let shoot = shoot_at(&times.iter().map(String::as_str).collect::<Vec<_>>(), 60.0);
        let count = |shot: &Shot| plan(shot, &shoot).breaks.len();
        (count(&shot()), count(&only(shot(), 3600.0)))
    };
    assert_eq!((gap(9), gap(12)), ((1, 0), (1, 1)));
}

#[test]
fn what_is_mixed_keeps_to_a_day_and_across_reaches_over_the_night() {
    let mut mixed = hours(shot(), "09:00", "15:00");
    mixed.pace.value = Pace::Constant(Rate::FramesPerStill(2.0));
    mixed.deliveries[0].blend.between = Between::Mix;
    let shares = |shot: &Shot| -> Vec<Vec<usize>> {
        plan(shot, &week()).deliveries[0]
            .rows
            .iter()
            .map(|row| row.shares().map(|one| one.shown.0 + 1).collect())
            .collect()
    };
    assert_eq!(shares(&mixed)[..6], [vec![2], vec![2, 3], vec![3], vec![3], vec![6], vec![6, 7]]);
    let said = written(&plan(&mixed, &week()).remarks);
    assert!(said.starts_with("remark shot.lua:2: kept apart: still 3 and still 6, hours left out between ["), "{said}");
    mixed.source.across = true;
    assert_eq!(shares(&mixed)[3], [3, 6]);
}

#[test]
fn missing_and_damaged_stills_go_by_their_neighbours_times_and_no_step_takes_one() {
    let (mut shot, mut shoot) = (hours(shot(), "09:00", "15:00"), week());
    // One at 09:00 and one at 21:00 are missing.
    lose(&mut shoot, 6);
    lose(&mut shoot, 8);
    assert_eq!(
        refused(&shot, &shoot).lines().next().unwrap().split(" [").next().unwrap(),
        "mistake shot.lua:2: STIL0006 is missing"
    );
    shot.source.missing = Policy::Skip;
    let plan = plan(&shot, &shoot);
    assert_eq!((plan.tally.used, plan.tally.hours, plan.tally.missing.len()), (9, 10, 1));
    let thinned = super::build::plan(&only(shot, 86_400.0), &shoot);
    assert_eq!((thinned.tally.missing.len(), thinned.tally.used + thinned.tally.only + thinned.tally.hours), (0, 20));
}

#[test]
fn keys_in_what_is_left_out_are_refused_with_the_line_that_leaves_it_out() {
    let refusal = |mut shot: Shot, at| {
        shot.framing.keys = vec![on(11, at, (0.5, 0.5), 1.0)];
        refused(&shot, &week())
    };
    let still = |number| Moment::Still(number);
    assert_eq!(
        refusal(hours(shot(), "09:00", "15:00"), still(4)),
        "mistake shot.lua:11: still(4), STIL0004, lies outside the hours that are used: it is never shown \
         (shot.lua:22 the hours) [the nearest still used is still(3), STIL0003]\n"
    );
    assert!(
        refusal(hours(shot(), "09:00", "15:00"), clock("day 2 03:00")).contains("still(5), STIL0005, lies outside")
    );
    assert!(refusal(days(shot(), Days::Weekdays), still(10)).contains("lies on a day that is not used"));
    let thinned = refusal(only(shot(), 86_400.0), still(2));
    assert!(thinned.contains("lies between the stills that 'only' keeps: it is never shown (shot.lua:24"), "{thinned}");
}

#[test]
fn a_still_without_a_time_is_named_and_the_cut_told_leaves_it_out() {
    let timeless = |numbers: &[usize]| {
        let mut shoot = week();
        for number in numbers {
            let stillpath::shoot::Content::Whole(still) = &mut shoot.slots[number - 1].content else { unreachable!() };
            still.captured = None;
        }
        shoot
    };
    let mut chosen = hours(shot(), "09:00", "15:00");
    assert_eq!(
        refused(&chosen, &timeless(&[7])),
        "mistake shot.lua:22: STIL0007 has no capture time, and hours goes by that \
         [cuts = { cut(still(7), still(7)) } leaves it out]\n"
    );
    chosen.source.cuts = vec![Cut { place: line(21), from: Moment::Still(7), to: Moment::Still(7) }];
    assert_eq!(plan(&chosen, &timeless(&[7])).tally.used, 9);
    let two = refused(&only(shot(), 3600.0), &timeless(&[3, 4]));
    assert!(two.contains("shot.lua:24: STIL0003 to STIL0004 have no capture time, and only goes by that"), "{two}");
    let none = refused(&days(shot(), Days::Weekdays), &shoot(20));
    assert_eq!(
        none,
        "mistake shot.lua:23: days needs capture times, and no still of this shoot has one \
         [cuts = { cut(still(2), still(3)) } leaves out stills by their numbers]\n"
    );
}

#[test]
fn a_choice_that_leaves_nothing_is_refused_with_when_the_shoot_was() {
    let span = "[the shoot runs from 2027-06-03 03:00:00 to 2027-06-07 21:00:00]\n";
    assert_eq!(
        refused(&hours(shot(), "10:00", "14:00"), &week()),
        format!("mistake shot.lua:22: hours leaves no still: none was taken from 10:00 to 14:00 {span}")
    );
    assert_eq!(
        refused(&days(shot(), dates(&[("2027-06-10", "2027-06-11")])), &week()),
        format!("mistake shot.lua:23: days leaves no still: none was taken on 2027-06-10 to 2027-06-11 {span}")
    );
}

#[test]
fn a_day_without_stills_and_a_step_finer_than_the_interval_are_remarked_on() {
    let listed = dates(&[("2027-06-04", "2027-06-04"), ("2027-06-09", "2027-06-09")]);
    let said = written(&plan(&days(shot(), listed), &week()).remarks);
    assert!(said.contains("remark shot.lua:23: no still was taken on 2027-06-09\n"), "{said}");
    let finer = written(&plan(&only(shot(), 3600.0), &week()).remarks);
    assert_eq!(
        finer,
        "remark shot.lua:24: a step of 1h is finer than the 21600 s from still to still: nothing is thinned out \
         [only = every(\"12h\") takes about every second still]\n"
    );
    let mended = plan(&only(shot(), 43_200.0), &week());
    assert_eq!((written(&mended.remarks), mended.tally.used), (String::new(), 11));
}

#[test]
fn a_frame_says_what_its_still_was_chosen_by() {
    let shot = only(days(hours(shot(), "09:00", "15:00"), Days::Weekdays), 21_600.0);
    let text = explain(&shot, &week(), 0, &When::Frame(0)).unwrap().text();
    let due = "  chosen from its source: hours 09:00 to 15:00, weekdays, the nearest to every 6h (shot.lua:2)\n";
    assert!(text.contains(due), "{text}");
}
