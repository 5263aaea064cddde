//! What covers come to, still by still.

use stillpath::curve::ease::Ease;
use stillpath::diag::Placed;
use stillpath::plan::{Plan, covered_in};
use stillpath::shoot::{Content, Format, Orientation, Shoot};
use stillpath::shot::{Cover, CoverArea, CoverKey, CoverWith, Moment, Policy, Shot, StillBox};
use stillpath::units::SlotIndex;

use super::build::{line, lose, on, plan, refused, shoot_every, shot, written};

/// Stills as PNG, so that boxes do not grow; of 4000 by 3000.
fn shoot(stills: usize) -> Shoot {
    let mut shoot = shoot_every(stills, "2031-05-04T09:00:00", 10.0);
    as_stored(&mut shoot, Format::Png, Orientation::Upright);
    shoot
}

fn as_stored(shoot: &mut Shoot, format: Format, orientation: Orientation) {
    for slot in &mut shoot.slots {
        if let Content::Whole(still) = &mut slot.content {
            (still.format, still.orientation) = (format, orientation);
        }
    }
}

const fn area(x: f64, y: f64, width: f64, height: f64) -> StillBox {
    StillBox { x, y, width, height }
}

fn cover(area: CoverArea) -> Cover {
    Cover { place: line(30), area, from: None, to: None, with: CoverWith::Fill, track: None }
}

fn key(at_line: u32, at: Moment, area: StillBox) -> CoverKey {
    CoverKey { place: line(at_line), at, area, ease: Ease::Linear }
}

fn covering(covers: Vec<Cover>) -> Shot {
    Shot { covers, ..shot() }
}

/// Left, top, right and bottom of what is hidden in a still (from 1).
fn hidden(plan: &Plan, still: usize) -> Vec<[u32; 4]> {
    let areas = covered_in(&plan.covers, SlotIndex(still - 1));
    areas.iter().map(|area| [area.x, area.y, area.x + area.width, area.y + area.height]).collect()
}

#[test]
fn a_cover_takes_whole_pixels_from_one_moment_to_another_in_every_delivery() {
    let mut one = cover(CoverArea::Still(area(0.10001, 0.2, 0.05, 0.1)));
    one.from = Some(Placed::new(Moment::Still(3), line(31)));
    one.to = Some(Placed::new(Moment::Still(5), line(32)));
    let whole = cover(CoverArea::Still(area(0.9, 0.9, 0.1, 0.1)));
    let plan = plan(&covering(vec![one, whole]), &shoot(8));
    assert_eq!(hidden(&plan, 2), [[3600, 2700, 4000, 3000]]);
    assert_eq!(hidden(&plan, 3), [[400, 600, 601, 900], [3600, 2700, 4000, 3000]]);
    assert_eq!(hidden(&plan, 5), hidden(&plan, 3));
    assert_eq!(hidden(&plan, 6), hidden(&plan, 2));
    assert_eq!(plan.covers.len(), 3, "neighbours alike are one entry");
    for layer in plan
        .deliveries
        .iter()
        .flat_map(|delivery| &delivery.rows)
        .flat_map(|row| row.layers.each().map(|(layer, _)| layer))
    {
        assert_eq!(
            *layer.still.covers,
            *covered_in(&plan.covers, layer.slot()),
            "every layer has what is hidden in it"
        );
    }
    let said = written(&plan.remarks);
    assert!(said.contains("this cover takes at most 0.502 % of the still, 201 by 300 px"), "{said}");
    assert!(said.contains("in still(3) to still(5)"), "{said}");
}

#[test]
fn a_cover_that_moves_holds_all_its_places_until_the_next_still() {
    let keys =
        vec![key(31, Moment::Still(2), area(0.1, 0.1, 0.1, 0.1)), key(32, Moment::Still(6), area(0.5, 0.1, 0.1, 0.1))];
    let plan = plan(&covering(vec![cover(CoverArea::Keyed(keys))]), &shoot(8));
    assert_eq!(hidden(&plan, 1), [[400, 300, 800, 600]]);
    assert_eq!(hidden(&plan, 2), [[400, 300, 1200, 600]]);
    assert_eq!(hidden(&plan, 5), [[1600, 300, 2400, 600]]);
    assert_eq!(hidden(&plan, 8), [[2000, 300, 2400, 600]]);
}

#[test]
fn an_ease_that_swings_out_between_two_stills_is_covered_there_too() {
    let ease = Ease::CubicBezier { x1: 0.3, y1: -1.0, x2: 0.7, y2: 2.0 };
    let last = CoverKey { ease, ..key(32, Moment::Still(2), area(0.5, 0.1, 0.1, 0.1)) };
    let keys = vec![key(31, Moment::Still(1), area(0.3, 0.1, 0.1, 0.1)), last];
    let plan = plan(&covering(vec![cover(CoverArea::Keyed(keys))]), &shoot(3));
    let [[left, _, right, _]] = hidden(&plan, 1)[..] else { panic!("one area") };
    assert!(left < 1150 && right > 2450, "{left} to {right}");
}

#[test]
fn a_jpegs_boxes_grow_to_its_squares_from_the_corner_stored_first() {
    // 0.101 of 4000 is 404 and of 3000 is 303; 4000 is a whole number of squares of 16, 3000 is 187 and a half.
    let boxes = covering(vec![cover(CoverArea::Still(area(0.101, 0.101, 0.05, 0.05)))]);
    let grown = |format, orientation| {
        let mut shoot = shoot(2);
        as_stored(&mut shoot, format, orientation);
        hidden(&plan(&boxes, &shoot), 1)[0]
    };
    assert_eq!(grown(Format::Png, Orientation::Upright), [404, 303, 604, 453]);
    assert_eq!(grown(Format::Jpeg, Orientation::Upright), [398, 286, 610, 466]);
    // From the bottom: 3000 - 453 = 2547 to 2697, squares 2544 to 2704.
    assert_eq!(grown(Format::Jpeg, Orientation::HalfTurn), [398, 294, 610, 458]);
    assert_eq!(grown(Format::Webp, Orientation::Upright), [372, 271, 636, 485]);
}

#[test]
fn a_held_still_keeps_its_own_cover() {
    let mut one = cover(CoverArea::Still(area(0.1, 0.1, 0.1, 0.1)));
    one.to = Some(Placed::new(Moment::Still(2), line(31)));
    let mut shot = covering(vec![one]);
    shot.source.missing = Policy::Hold;
    let mut shoot = shoot(4);
    lose(&mut shoot, 3);
    let plan = plan(&shot, &shoot);
    let shown = plan.deliveries[0].rows[2].shown;
    assert_eq!(shown, SlotIndex(1));
    assert_eq!(covered_in(&plan.covers, shown).len(), 1);
}

#[test]
fn covers_that_cannot_be_are_refused_at_their_lines_and_one_that_is_never_seen_is_said() {
    let fixed = || cover(CoverArea::Still(area(0.0, 0.0, 0.1, 0.1)));
    let mut turned = fixed();
    turned.from = Some(Placed::new(Moment::Still(5), line(31)));
    turned.to = Some(Placed::new(Moment::Still(3), line(32)));
    let said = refused(&covering(vec![turned]), &shoot(8));
    assert!(
        said.contains("mistake shot.lua:30: 'from' is still(5) and 'to' is still(3): nothing lies between them"),
        "{said}"
    );
    let mut beyond = fixed();
    beyond.to = Some(Placed::new(Moment::Still(9), line(32)));
    let said = refused(&covering(vec![beyond]), &shoot(8));
    assert!(said.contains("mistake shot.lua:32: there is no still(9)"), "{said}");
    let keys =
        vec![key(31, Moment::Still(6), area(0.1, 0.1, 0.1, 0.1)), key(32, Moment::Still(2), area(0.5, 0.1, 0.1, 0.1))];
    let said = refused(&covering(vec![cover(CoverArea::Keyed(keys))]), &shoot(8));
    assert!(said.contains("mistake shot.lua:32: this key lies no later in the shoot"), "{said}");
    let mut away = covering(vec![fixed()]);
    away.framing.keys = vec![on(20, Moment::Start, (0.7, 0.7), 2.0)];
    let said = written(&plan(&away, &shoot(8)).remarks);
    assert!(said.contains("remark shot.lua:30: no frame of any delivery shows what this cover hides"), "{said}");
}
