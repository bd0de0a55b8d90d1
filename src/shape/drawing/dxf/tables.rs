//! What a DXF drawing says of itself: its unit, which layers are seen, its blocks.

use std::collections::{HashMap, HashSet};

use super::{CodeValue, Codes, DrawingRefused, Entity, entities, section};
use crate::shape::drawing::Unit;

/// A block: the entity that begins it, and its own.
pub(super) struct Block<'a, 'b> {
    pub entities: Vec<Entity<'a, 'b>>,
}

/// The layers and blocks of a drawing.
pub(super) struct Tables<'a, 'b> {
    hidden: HashSet<&'a str>,
    pub blocks: HashMap<&'a str, Block<'a, 'b>>,
}

impl<'a, 'b> Tables<'a, 'b> {
    pub(super) fn of(pairs: &'b [CodeValue<'a>]) -> Self {
        let named = |entity: Entity<'a, 'b>| Some((entity.iter().find(|pair| pair.code == 2)?.value, entity));
        let layers = entities(section(pairs, "TABLES")).into_iter().filter(|entity| entity[0].value == "LAYER");
        let hidden = layers.filter(|layer| is_hidden(layer)).filter_map(named).map(|(name, _)| name);
        let mut blocks: HashMap<&str, Block> = HashMap::new();
        let mut open: Option<(&str, Vec<Entity>)> = None;
        for entity in entities(section(pairs, "BLOCKS")) {
            match (entity[0].value, &mut open) {
                ("BLOCK", _) => open = named(entity).map(|(name, entity)| (name, vec![entity])),
                ("ENDBLK", _) => {
                    let done = open.take().map(|(name, entities)| (name, Block { entities }));
                    blocks.extend(done);
                }
                (_, Some((_, entities))) => entities.push(entity),
                _ => {}
            }
        }
        Self { hidden: hidden.collect(), blocks }
    }

    /// Whether an entity is seen in the drawing: not on paper, not invisible, not on a layer that is off or frozen.
    pub(super) fn shows(&self, entity: Entity) -> bool {
        let says = |code: i32, value: &str| entity.iter().any(|pair| pair.code == code && pair.value == value);
        let codes = Codes(entity);
        let is_hidden = codes.text(8).is_some_and(|layer| self.hidden.contains(layer));
        !says(67, "1") && !says(60, "1") && !is_hidden
    }
}

/// A layer is off where its color is negative, and frozen where its first flag is set.
fn is_hidden(layer: Entity) -> bool {
    let whole = |code: i32| Codes(layer).text(code).and_then(|value| value.parse::<i64>().ok()).unwrap_or(0);
    whole(62) < 0 || whole(70) & 1 != 0
}

/// Millimeters in the unit of the drawing: `$INSUNITS` says it unless it is 0.
pub(super) fn mm_per_unit(pairs: &[CodeValue], unit: Option<Unit>) -> Result<f64, DrawingRefused> {
    let at = pairs.iter().position(|pair| pair.code == 9 && pair.value == "$INSUNITS");
    let stated = match at.and_then(|at| pairs.get(at + 1)).filter(|pair| pair.code == 70).map(|pair| pair.value) {
        Some("1") => Some(25.4),
        Some("2") => Some(304.8),
        Some("4") => Some(1.0),
        Some("5") => Some(10.0),
        Some("6") => Some(1000.0),
        // A thousandth of an inch, a micrometer, a decimeter.
        Some("9") => Some(0.0254),
        Some("13") => Some(0.001),
        Some("14") => Some(100.0),
        _ => None,
    };
    stated.or(unit.map(Unit::mm)).ok_or(DrawingRefused::NoUnit)
}
