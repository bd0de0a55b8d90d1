//! Types that have the same name: a name is to mean one thing, wherever in the crate it stands.

use std::collections::{BTreeMap, BTreeSet};

use syn::Item;

use super::source::{Absolute, Source, attributes, child, is_test};

/// Every name that types of different modules have, with these modules. Two of one module are for different systems.
pub fn shared(sources: &[Source]) -> Vec<String> {
    let mut places: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
    for source in sources {
        collect(&source.module, &source.syntax.items, &mut places);
    }
    places.retain(|_, modules| modules.len() > 1);
    places
        .into_iter()
        .map(|(name, modules)| format!("{name}: {}", modules.into_iter().collect::<Vec<_>>().join(", ")))
        .collect()
}

fn collect(module: &Absolute, items: &[Item], places: &mut BTreeMap<String, BTreeSet<String>>) {
    for item in items.iter().filter(|item| !is_test(attributes(item))) {
        let name = match item {
            Item::Enum(item) => &item.ident,
            Item::Struct(item) => &item.ident,
            Item::Trait(item) => &item.ident,
            Item::Type(item) => &item.ident,
            Item::Union(item) => &item.ident,
            Item::Mod(inner) => {
                if let Some((_, items)) = &inner.content {
                    collect(&child(module, &inner.ident.to_string()), items, places);
                }
                continue;
            }
            _ => continue,
        };
        places.entry(name.to_string()).or_default().insert(module.join("::"));
    }
}
