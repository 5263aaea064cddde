//! What stamps say over every frame, by the plan.

use stillpath::diag::Placed;
use stillpath::plan::{Layer, Plan};
use stillpath::shot::Pace;
use stillpath::shot::{
    Between, Blend, Colour, Cut, Moment, Outline, Piece, Pin, Policy, Rate, Shot, Stamp, StampWhat, Wording,
};

use super::build::{delivery, line, lose, plan, refused, shoot, shoot_every, shot, spoil};

/// A stamp on line 70.
fn stamp(pieces: &[Piece]) -> Stamp {
    let wording = Wording {
        said: "…".into(),
        pieces: pieces.to_vec(),
        font: None,
        colour: Colour::WHITE,
        outline: Some(Outline::USUAL),
    };
    Stamp { place: line(70), what: StampWhat::Text(wording), at: Stamp::AT, pin: Pin::BottomRight, size: Stamp::SIZE }
}

fn clock() -> Piece {
    Piece::Clock("%H:%M:%S".into())
}

/// The shot with stamps in its delivery.
fn stamped(pieces: &[Piece]) -> Shot {
    let mut shot = shot();
    shot.deliveries[0].stamps = vec![stamp(pieces)];
    shot
}

/// What the frames of the first delivery say.
fn said(plan: &Plan) -> Vec<&str> {
    let delivery = &plan.deliveries[0];
    let slot = |row: &stillpath::plan::Row| row.layers.dominant().map(Layer::slot).unwrap();
    delivery.rows.iter().map(|row| delivery.stamps[0].line(slot(row)).map_or("-", |line| line)).collect()
}

#[test]
fn a_frame_says_the_time_of_its_still_and_of_the_one_held_and_cuts_leave_no_trace() {
    let mut shoot = shoot_every(8, "2031-05-04T23:59:58", 1.0);
    lose(&mut shoot, 3);
    spoil(&mut shoot, 4);
    let mut shot = stamped(&[clock()]);
    (shot.source.missing, shot.source.damaged) = (Policy::Hold, Policy::Hold);
    shot.source.cuts = vec![Cut { place: line(2), from: Moment::Still(6), to: Moment::Still(7) }];
    let held = plan(&shot, &shoot);
    assert_eq!(said(&held), ["23:59:58", "23:59:59", "23:59:59", "23:59:59", "00:00:02", "00:00:05"]);
    // A still that decoding may show to be damaged has what would stand in for it.
    let stand_in = held.deliveries[0].rows[4].stand_in.unwrap();
    assert_eq!(held.deliveries[0].stamps[0].line(stand_in).map(|line| &**line), Some("23:59:59"));
}

#[test]
fn time_elapses_from_the_first_still_shown_by_capture_times_or_by_the_interval() {
    let elapsed = [Piece::Elapsed(Piece::ELAPSED.into())];
    let mut shot = stamped(&elapsed);
    shot.source.from = Some(Placed::new(Moment::Still(3), line(2)));
    let hourly = plan(&shot, &shoot_every(5, "2031-05-04T12:00:00", 45_000.0));
    assert_eq!(said(&hourly), ["0 d 00:00", "0 d 12:30", "1 d 01:00"]);
    shot.source.interval = Some(3600.0);
    assert_eq!(said(&plan(&shot, &shoot(5))), ["0 d 00:00", "0 d 01:00", "0 d 02:00"]);
    shot.source.interval = None;
    let told = refused(&shot, &shoot(5));
    assert!(
        told.contains("mistake shot.lua:70: {elapsed} needs capture times") && told.contains("interval = 10"),
        "{told}"
    );
    // Backwards it runs down to the first still shown.
    let mut shot = stamped(&elapsed);
    let back = super::build::back(3, Moment::Start, 1.0);
    shot.pace = super::build::keyed(vec![back], None);
    let down = plan(&shot, &shoot_every(3, "2031-05-04T12:00:00", 60.0));
    assert_eq!(said(&down), ["0 d 00:02", "0 d 00:01", "0 d 00:00"]);
}

#[test]
fn a_mixed_frame_says_the_time_of_the_nearer_still_and_of_several_that_of_the_largest_share() {
    let shoot = shoot_every(4, "2031-05-04T12:00:00", 1.0);
    let number = [Piece::Number(2)];
    for between in [Between::Mix, Between::Motion] {
        let mut shot = stamped(&number);
        shot.pace = Placed::new(Pace::Constant(Rate::FramesPerStill(3.0)), line(3));
        shot.deliveries[0].blend = Blend { between, ..Blend::default() };
        // Frame 1 is a third of the way from still 1 to still 2, frame 2 two thirds.
        assert_eq!(said(&plan(&shot, &shoot))[..7], ["01", "01", "02", "02", "02", "03", "03"], "{between:?}");
    }
    let mut shot = stamped(&number);
    shot.pace = Placed::new(Pace::Constant(Rate::StillsPerFrame(1.25)), line(3));
    shot.deliveries[0].blend = Blend { shutter: 360.0, ..Blend::default() };
    // 1 and a quarter of 2; three quarters of 2 and half of 3; half of 3 and three quarters of 4.
    assert_eq!(said(&plan(&shot, &shoot))[..3], ["01", "02", "04"]);
}

#[test]
fn deliveries_have_the_stamps_they_ask_for_and_the_hash_of_a_plan_knows_them() {
    let shoot = shoot_every(3, "2031-05-04T12:00:00", 1.0);
    let mut shot = stamped(&[Piece::Name, Piece::Plain(" & <1>".into())]);
    shot.deliveries.push(delivery("bare", 640, 360, "24"));
    let both = plan(&shot, &shoot);
    assert_eq!(said(&both), ["STIL0001 & <1>", "STIL0002 & <1>", "STIL0003 & <1>"]);
    assert!(both.deliveries[1].stamps.is_empty());
    let mut other = shot.clone();
    other.deliveries[0].stamps[0].place = line(99);
    assert_eq!(both.hash(), plan(&other, &shoot).hash(), "its line is no part of what is made");
    other.deliveries[0].stamps[0].size = 0.04;
    assert_ne!(both.hash(), plan(&other, &shoot).hash());
    let text = stillpath::plan::text(&both);
    assert!(text.contains("enlarged  stamps\n") && text.contains("  \"STIL0002 & <1>\"\n"), "{text}");
}

#[test]
fn a_stamp_that_does_not_fit_the_safe_part_is_refused_with_the_size_that_does() {
    let shoot = shoot_every(3, "2031-05-04T12:00:00", 1.0);
    let mut shot = stamped(&[Piece::Plain("a long line of words over a narrow frame".into())]);
    shot.deliveries[0].stamps[0].size = 0.2;
    shot.deliveries[0].safe.left = 0.3;
    let told = refused(&shot, &shoot);
    assert!(told.contains("does not fit into 'wide'") && told.contains("its safe part has 1342"), "{told}");
    let size: f64 = told.split("write size = ").nth(1).unwrap().split(' ').next().unwrap().parse().unwrap();
    shot.deliveries[0].stamps[0].size = size;
    plan(&shot, &shoot);
    shot.deliveries[0].stamps[0].size = size * 1.01;
    refused(&shot, &shoot);
}
