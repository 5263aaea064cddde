//! What would stop a render, found before its first frame: encoders, outputs, room on the disk.

use std::path::{Path, PathBuf};

use super::prepare::{Part, Prepared};
use super::{bytes, draft, tables};
use crate::diag::{Diagnostic, Diagnostics};
use crate::plan::DeliveryPlan;
use crate::shoot::Shoot;
use crate::shot::{Codec, Delivery, Shot};
use crate::{encode, survey};

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
        if let Err(why) = encode::preflight(&delivery.codec, shoot.size, delivery.fps) {
            found.push(refused_by_encoder(delivery, &why));
        }
    }
}

fn refused_by_encoder(delivery: &Delivery, why: &str) -> Diagnostic {
    let mistake = Diagnostic::mistake(format!("'{}' cannot be encoded: {why}", delivery.name));
    let mistake = mistake.at(&delivery.place).word(&delivery.name);
    match delivery.codec {
        Codec::H264(_) => mistake.help("or write codec = \"png\", which has no such limits"),
        Codec::Hevc(_) => mistake.help("or write codec = \"ffv1\", which takes larger ones and loses nothing"),
        Codec::Png | Codec::Ffv1 => mistake,
    }
}

/// Whatever stands in the way of the outputs below `out`, which is made where it is not there. `force` says that existing
/// outputs may be replaced, `is_there` which of them need not be: an interrupted run has made them. Drafts replace earlier ones
/// without being told.
pub(super) fn outputs(
    prepared: &Prepared,
    out: &Path,
    force: bool,
    drafts: bool,
    is_there: &dyn Fn(&Part, &DeliveryPlan, &Path) -> bool,
) -> Diagnostics {
    let mut refused = Diagnostics::default();
    let mut predicted: u64 = 0;
    for part in &prepared.parts {
        let path = |plan: &DeliveryPlan| draft::path(out, &prepared.stem, plan, drafts);
        let kinds = [tables::Kind::Level, tables::Kind::Steady].into_iter().filter(|_| !drafts);
        let tables: Vec<_> = kinds.filter_map(|kind| kind.kept_in(prepared, part, out)).collect();
        // Asked only where something stands.
        let again = |plan: &DeliveryPlan| path(plan).exists() && !is_there(part, plan, &path(plan));
        let mut in_the_way: Vec<_> = part.made.plan.deliveries.iter().filter(|plan| !force && again(plan)).map(path).collect();
        // A sidecar without its master is of another run, or of one that was killed as it ended.
        let sidecars = part
            .made
            .plan
            .deliveries
            .iter()
            .filter(|_| !drafts)
            .filter_map(|plan| encode::beside_output(&path(plan), &plan.codec));
        let sidecars: Vec<_> = sidecars.collect();
        // The tables come after the last of them.
        let of_this_run = |plan: &DeliveryPlan| path(plan).exists() && is_there(part, plan, &path(plan));
        let may_stand = force || part.made.plan.deliveries.iter().all(of_this_run);
        let tables_in_the_way: Vec<_> = tables.iter().filter(|table| !may_stand && table.exists()).cloned().collect();
        let alone = |(plan, sidecar): &(&DeliveryPlan, &PathBuf)| {
            !path(plan).exists() && sidecar.exists() && !encode::is_begun(&path(plan))
        };
        let masters = part.made.plan.deliveries.iter().filter(|plan| plan.codec.is_for_masters());
        in_the_way.extend(masters.zip(&sidecars).filter(|_| !force).filter(alone).map(|(_, sidecar)| sidecar.clone()));
        let paths: Vec<_> = part.made.plan.deliveries.iter().map(path).chain(tables).chain(sidecars).collect();
        for taken in survey::would_take(&prepared.requests[part.shoot], &paths) {
            let message = format!("{} lies among the stills and would be taken for one of them", taken.display());
            refused.push(Diagnostic::mistake(message).at(&part.shot.source.place).help("choose another --out folder"));
        }
        for path in in_the_way.iter().chain(&tables_in_the_way).filter(|path| !(drafts && draft::may_replace(path))) {
            let message = format!("{} is already there", path.display());
            refused.push(Diagnostic::mistake(message).help("--force replaces it, or choose another --out folder"));
        }
        let made: Vec<_> = part.made.plan.deliveries.iter().map(|plan| draft::made(plan, drafts)).collect();
        let needed = made.iter().map(|plan| encode::predicted_bytes(plan).saturating_sub(encode::kept_bytes(&path(plan))));
        predicted = needed.fold(predicted, u64::saturating_add);
        if drafts {
            let asked = made.iter().zip(&part.shot.deliveries).map(|(plan, delivery)| {
                let said = encode::preflight(&plan.codec, plan.frame, plan.fps);
                said.map_err(|why| Diagnostic::mistake(format!("'{}' cannot be drafted: {why}", plan.name)).at(&delivery.place))
            });
            refused.extend(Diagnostics(asked.filter_map(Result::err).collect()));
        }
    }
    if !refused.refused()
        && let Err(mistake) = check_folder(out, predicted)
    {
        refused.push(mistake);
    }
    refused
}

/// Makes the output folder, and checks that it can be written and that what is predicted fits.
fn check_folder(out: &Path, predicted: u64) -> Result<(), Diagnostic> {
    let unwritable = |error: std::io::Error| {
        Diagnostic::mistake(format!("{} cannot be written: {error}", out.display())).help("choose another --out folder")
    };
    std::fs::create_dir_all(out).and_then(|()| tempfile::tempfile_in(out)).map_err(unwritable)?;
    let disk = rustix::fs::statvfs(out).map_err(|error| unwritable(error.into()))?;
    let free = disk.f_bavail.saturating_mul(disk.f_frsize);
    let needed = predicted.saturating_add(predicted / 10);
    if needed <= free {
        return Ok(());
    }
    let message = format!(
        "{} has {} free; about {} are needed (an estimate, with a tenth to spare)",
        out.display(),
        bytes(free),
        bytes(needed)
    );
    Err(Diagnostic::mistake(message).help("make room, choose another --out folder, or render fewer deliveries"))
}
