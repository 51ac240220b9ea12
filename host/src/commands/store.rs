//! The shop's store as every verb opens it, and its errors with the folder they came from.

use std::collections::BTreeMap;
use std::path::Path;

use steadypass::guidance::Units;
use steadypass::shop::{Id, Shop, ShopError, film::ThinFilm};

use super::{Console, Failure};
use crate::cli::shop::FileArgs;

/// An error of a shop, with its folder.
pub(super) fn of(folder: &Path) -> impl Fn(ShopError) -> Failure {
    let folder = folder.display().to_string();
    move |error| match error {
        ShopError::Missing { .. } | ShopError::Exists { .. } | ShopError::Foreign { .. } => Failure::failed(error),
        ShopError::OutOfRange(_) => Failure::Usage(error.to_string()),
        other => Failure::failed(format!("shop {folder}: {other}")),
    }
}

pub(super) fn open(folder: &Path) -> Result<Shop, Failure> {
    Shop::open(folder).map_err(of(folder))
}

/// The same where something is filed in the end: one that may not be written is said before the work, not after it.
pub(super) fn open_for_filing(folder: &Path) -> Result<Shop, Failure> {
    let shop = open(folder)?;
    shop.may_write().map_err(of(folder))?;
    Ok(shop)
}

/// Where a recording is filed, if anywhere. A shop that only the environment names, for every verb, may be missing where nothing is
/// said about what is filed: a drive that is not there costs no recording.
pub(super) fn to_file_in<'a>(console: &Console, file: &'a FileArgs) -> Result<Option<&'a Path>, Failure> {
    let Some(folder) = file.shop.as_deref() else { return Ok(None) };
    match Shop::open(folder) {
        Err(error @ ShopError::Missing { .. }) if file.shop_is_usual && !file.says_anything() => {
            console.remark(&format!(
                "STEADYPASS_SHOP: {error}. It goes on without a shop, and nothing is filed; `steadypass review RECORDING --shop DIR` files it \
                 later."
            ));
            Ok(None)
        }
        Err(error) => Err(of(folder)(error)),
        Ok(_) => Ok(Some(folder)),
    }
}

/// Says what the shop's own limit says of the film that is worked on: one below it even to those who want quiet.
pub(super) fn say_thin(console: &Console, thin: &[ThinFilm], units: Units) {
    for thin in thin {
        let words = format!("{}.", thin.words(units));
        if thin.is_below() { console.error(&words) } else { console.remark(&words) }
    }
}

/// The same as JSON.
pub(super) fn thin_json(thin: &[ThinFilm]) -> serde_json::Value {
    let of_panel = |thin: &ThinFilm| {
        let (thinnest_um, floor_um) = thin.thinnest_and_floor_um();
        serde_json::json!({
            "panel": thin.panel, "thinnest_um": thinnest_um, "film_floor_um": floor_um, "is_below": thin.is_below(),
            "words": thin.words(Units::Si),
        })
    };
    thin.iter().map(of_panel).collect()
}

/// What the shop's vehicles are called.
pub(super) fn labels(shop: &Shop) -> Result<BTreeMap<Id, String>, Failure> {
    let vehicles = shop.vehicles().map_err(of(shop.folder()))?;
    Ok(vehicles.into_iter().map(|v| (v.id, v.entry.label)).collect())
}

/// Refuses what is put down for a session and a vehicle that is not the session's.
pub(super) fn refuse_other_vehicle(shop: &Shop, session: Option<Id>, vehicle: Option<Id>) -> Result<(), Failure> {
    let (Some(id), Some(own)) = (session, vehicle) else { return Ok(()) };
    let sessions = shop.sessions().map_err(of(shop.folder()))?;
    let Some(other) = sessions.iter().find(|s| s.id == id).and_then(|s| s.vehicle).filter(|other| *other != own) else {
        return Ok(());
    };
    let labels = labels(shop)?;
    let called = |id: Id| labels.get(&id).map_or("?", String::as_str);
    Err(Failure::failed(format!(
        "session {id} is work on \"{other}\", not on \"{own}\": give --vehicle \"{other}\", or a session of \"{own}\"; `steadypass shop \
         status --all` lists them",
        other = called(other),
        own = called(own)
    )))
}

/// Says where a panel, of a vehicle if any, looks like a slip of another; it is taken all the same.
pub(super) fn doubt_panel(console: &Console, shop: &Shop, vehicle: Option<Id>, panel: &str) -> Result<(), Failure> {
    let failed = of(shop.folder());
    if let Some(meant) = shop.panel_meant(panel).map_err(&failed)? {
        console.remark(&shop.panel_doubt(vehicle, panel, &meant).map_err(&failed)?);
    }
    Ok(())
}
