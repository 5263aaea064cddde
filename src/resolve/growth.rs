//! What of a script makes old frames other ones when stills are added to its shoot: a render that goes on from what it
//! has kept begins anew then.

use crate::diag::{Diagnostic, Place};
use crate::shot::{CoverArea, Framing, LevelBy, Moment, Pace, Path, Shot};

/// A remark for each thing of a shot, or of a reel's shots, that goes by where the shoot ends.
#[must_use]
pub fn changes_with_growth(shot: &Shot) -> Vec<Diagnostic> {
    let mut found: Vec<Diagnostic> = shot.singles().iter().flat_map(of_single).collect();
    if let Some(reel) = shot.reel.as_ref().filter(|reel| reel.shots.len() > 1) {
        let message = "where a shot of a reel grows, frames that are made already change after it";
        let help = "all but the last shot should have stopped growing";
        found.push(Diagnostic::remark(message).at(&reel.mix.place).word("reel").help(help));
    }
    found
}

fn of_single(shot: &Shot) -> Vec<Diagnostic> {
    let mut found = Vec::new();
    let mut say = |place: &Place, word: &str, what: &str, help: &str| {
        let message = format!("{what}: frames that are made already change with every still that is added");
        found.push(Diagnostic::remark(message).at(place).word(word).help(help));
    };
    match &shot.pace.value {
        Pace::Over(_) => say(
            &shot.pace.place,
            "over",
            "this pace spreads all stills over one length",
            "stills_per_frame(1) leaves frames as they are, and the clip grows with the shoot",
        ),
        Pace::Keyed { fit: Some(fit), .. } => say(
            &fit.place,
            "fit",
            "fit scales the pace to one length",
            "without fit frames stay as they are, and the clip grows with the shoot",
        ),
        Pace::Keyed { keys, fit: None } => {
            for key in keys.iter().filter(|key| goes_by_the_end(&key.at)) {
                say(&key.place, "key", "this key of the pace goes by where the shoot ends", STAYS);
            }
        }
        Pace::Lively(_) => say(
            &shot.pace.place,
            "liveliest",
            "this pace goes by what happens in all of the shoot",
            "stills_per_frame(1) leaves frames as they are, and the clip grows with the shoot",
        ),
        Pace::Constant(_) => {}
    }
    if let Some(looped) = &shot.looped {
        say(
            &looped.place,
            "loop",
            "a loop runs into its beginning where the shoot ends",
            "leave loop out while the shoot grows",
        );
    }
    if let Some(level) = shot.level.as_ref().filter(|one| matches!(one.by, LevelBy::Measured { radius: None, .. })) {
        say(
            &level.place,
            "level",
            "levelling finds its radius by all stills",
            "level = { radius = 30 } goes by so many stills on each side only",
        );
    }
    if super::tracks(shot) {
        say(
            &shot.place,
            "shot",
            "what is tracked is looked for through all of the shoot",
            "track = \"…csv\" reads where it was",
        );
    }
    let own = shot.deliveries.iter().filter_map(|delivery| delivery.framing.as_ref());
    for framing in std::iter::once(&shot.framing).chain(own) {
        if matches!(framing.path, Path::Action(_)) {
            say(&framing.place, "action", "this framing goes by what happens in all of the shoot", STAYS);
        }
        for place in keys_by_the_end(framing) {
            say(place, "key", "this key goes by where the shoot ends", STAYS);
        }
    }
    for cover in &shot.covers {
        if let CoverArea::Keyed(keys) = &cover.area {
            for key in keys.iter().filter(|key| goes_by_the_end(&key.at)) {
                say(&key.place, "key", "this key goes by where the shoot ends", STAYS);
            }
        }
    }
    found
}

const STAYS: &str = "a moment counted from the beginning stays where it is: still(120), clock \"14:32\", or seconds";

fn keys_by_the_end(framing: &Framing) -> impl Iterator<Item = &Place> {
    framing.keys.iter().filter(|key| goes_by_the_end(&key.at)).map(|key| &key.place)
}

fn goes_by_the_end(moment: &Moment) -> bool {
    matches!(moment, Moment::End | Moment::Part(_)) || matches!(moment, Moment::Still(number) if *number < 0)
}
