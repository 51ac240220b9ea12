//! The shop's store as every verb opens it, and its errors with the folder they came from.

use std::path::Path;

use steadypass::shop::{Shop, ShopError, fill::panel_doubt};

use super::{Console, Failure};

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

/// Says where a panel looks like a slip of another; it is taken all the same.
pub(super) fn doubt_panel(console: &Console, shop: &Shop, panel: &str) -> Result<(), Failure> {
    if let Some(meant) = shop.panel_meant(panel).map_err(of(shop.folder()))? {
        console.remark(&panel_doubt(panel, &meant));
    }
    Ok(())
}
