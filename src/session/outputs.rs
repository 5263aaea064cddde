//! What stands in the way of a render's outputs: other files, the shoot's own folders, a full disk.

use std::path::{Path, PathBuf};

use super::prepare::{Part, Prepared};
use super::{bytes, draft, poster, put, tables};
use crate::diag::{Diagnostic, Diagnostics};
use crate::plan::DeliveryPlan;
use crate::{encode, survey};

/// Whatever stands in the way of the outputs below `out`, which is made where it is not there. `force` says that
/// existing outputs may be replaced, `is_there` which of them need not be: an interrupted run has made them. Drafts
/// replace earlier ones without being told.
pub(super) fn in_the_way(
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
        let tables: Vec<_> = kinds
            .flat_map(|kind| kind.kept_in(prepared, part, out))
            .map(|kept| kept.path)
            .chain(if drafts { Vec::new() } else { tables::tracks_kept_in(prepared, part, out) })
            .collect();
        // Asked only where something stands.
        let again = |plan: &DeliveryPlan| path(plan).exists() && !is_there(part, plan, &path(plan));
        let mut taken: Vec<_> =
            part.made.plan().deliveries.iter().filter(|plan| !force && again(plan)).map(path).collect();
        // A sidecar without its master is of another run, or of one that was killed as it ended.
        let sidecars = part
            .made
            .plan()
            .deliveries
            .iter()
            .filter(|_| !drafts)
            .filter_map(|plan| encode::beside_output(&path(plan), plan));
        let sidecars: Vec<_> = sidecars.collect();
        let posters = part.made.plan().deliveries.iter().filter(|_| !drafts);
        let beside: Vec<_> = posters.filter_map(|plan| poster::path(out, &prepared.stem, plan)).chain(tables).collect();
        // Posters and tables come after the last of them.
        let of_this_run = |plan: &DeliveryPlan| path(plan).exists() && is_there(part, plan, &path(plan));
        let may_stand = force || part.made.plan().deliveries.iter().all(of_this_run);
        let in_the_way: Vec<_> = beside.iter().filter(|path| !may_stand && path.exists()).cloned().collect();
        let alone = |(plan, sidecar): &(&DeliveryPlan, &PathBuf)| {
            !path(plan).exists() && sidecar.exists() && !encode::is_begun(&path(plan))
        };
        let masters = part.made.plan().deliveries.iter().filter(|plan| plan.every_still);
        taken.extend(masters.zip(&sidecars).filter(|_| !force).filter(alone).map(|(_, sidecar)| sidecar.clone()));
        let paths: Vec<_> = part.made.plan().deliveries.iter().map(path).chain(beside).chain(sidecars).collect();
        for still in prepared.requests_of(part).flat_map(|request| survey::would_take(request, &paths)) {
            let message = format!("{} lies among the stills and would be taken for one of them", still.display());
            refused.push(Diagnostic::mistake(message).at(&part.shot.source.place).help("choose another --out folder"));
        }
        for path in taken.iter().chain(&in_the_way).filter(|path| !(drafts && draft::may_replace(path))) {
            let message = format!("{} is already there", path.display());
            refused.push(Diagnostic::mistake(message).help("--force replaces it, or choose another --out folder"));
        }
        let made: Vec<_> = part.made.plan().deliveries.iter().map(|plan| draft::made(plan, drafts)).collect();
        let needed =
            made.iter().map(|plan| encode::predicted_bytes(plan).saturating_sub(encode::kept_bytes(&path(plan))));
        predicted = needed.fold(predicted, u64::saturating_add);
        if drafts {
            let asked = made.iter().zip(&part.shot.deliveries).map(|(plan, delivery)| {
                let said = encode::preflight(&plan.codec, plan.frame, plan.fps);
                said.map_err(|why| {
                    Diagnostic::mistake(format!("'{}' cannot be drafted: {why}", plan.name)).at(&delivery.place)
                })
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
        let why = put::words(&error);
        Diagnostic::mistake(format!("the folder {} cannot be written: {why}", out.display()))
            .help("choose another --out folder")
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
