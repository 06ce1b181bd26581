//! The plan's tables `[panels.NAME]`: the panels that seams lie between.
//!
//! In: the tables. Out: [`Panel`]s in the plan's order.
//! Defaults: the title is the name; a panel is not `fixed`. The key `finish` is read by `table_finish`.

use super::fields::Fields;
use super::plan_error::PlanError;
use super::types::{Panel, PanelId};

pub(super) const KEYS: &[&str] = &["title", "fixed", "finish"];

pub(super) fn read(root: &Fields<'_>) -> Result<Vec<Panel>, PlanError> {
    let mut panels = Vec::new();
    for (name, fields) in root.named_tables("panels", KEYS)? {
        panels.push(Panel {
            title: fields.title("title")?.unwrap_or_else(|| name.value.clone()),
            is_fixed: fields.flag("fixed")?.unwrap_or(false),
            id: PanelId(name.value),
        });
    }
    Ok(panels)
}
