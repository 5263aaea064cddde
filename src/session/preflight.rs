//! What encoders have against a script's deliveries, found before its first frame.

use crate::diag::{Diagnostic, Diagnostics};
use crate::encode;
use crate::shoot::Shoot;
use crate::shot::{Codec, Delivery, Shot};

/// What the encoders have against a shot's deliveries: all that can be known without an output folder.
pub(super) fn encoders(shot: &Shot, found: &mut Diagnostics) {
    for delivery in &shot.deliveries {
        // The size of a master is known once there is a shoot.
        if !delivery.every_still
            && let Err(why) = encode::preflight(&delivery.codec, delivery.frame, delivery.fps)
        {
            found.push(refused_by_encoder(delivery, &why));
        }
        if let (Some(sound), Err(why)) = (&delivery.sound, encode::preflight_sound()) {
            found.push(Diagnostic::mistake(why).at(&sound.place).word("sound").help("or leave sound out"));
        }
    }
}

/// What stands against a shot's masters of this shoot.
pub(super) fn masters(shot: &Shot, shoot: &Shoot, found: &mut Diagnostics) {
    for delivery in shot.deliveries.iter().filter(|delivery| delivery.every_still) {
        if shoot.recording.as_ref().is_some_and(|recording| recording.master.is_none()) {
            let words = format!("'{}' would be a master of a recording, which is one file already", delivery.name);
            let mistake = Diagnostic::mistake(words).at(&delivery.place).word(&delivery.name);
            found.push(mistake.help("masters are of stills, or of a master; leave this delivery out"));
        }
        if let Err(why) = encode::preflight_master(&delivery.codec, shoot.size, delivery.fps) {
            found.push(refused_by_encoder(delivery, &why));
        }
    }
}

fn refused_by_encoder(delivery: &Delivery, why: &str) -> Diagnostic {
    let mistake = Diagnostic::mistake(format!("'{}' cannot be encoded: {why}", delivery.name));
    let mistake = mistake.at(&delivery.place).word(&delivery.name);
    match delivery.codec {
        Codec::Hevc(_) if delivery.every_still => {
            mistake.help("or write codec = \"ffv1\", which takes larger ones and loses nothing")
        }
        Codec::Png(_) | Codec::Tiff | Codec::Ffv1(_) => mistake,
        _ => mistake.help("or write codec = \"png\", which has no such limits"),
    }
}
