//! From a path as it is written to the places it leads to.

use super::source::{Absolute, Import, Modules, Scope, child};

/// A chain of re-exports longer than this is a circle.
const LONGEST_CHAIN: usize = 16;

/// Where a path is written: the module, and the scopes of the blocks around it, innermost last.
pub struct Place<'a> {
    pub modules: &'a Modules,
    pub module: Absolute,
    pub blocks: Vec<Scope>,
}

impl Place<'_> {
    /// Every place a path leads to, from the one it names to the one behind all re-exports. Empty for a path that starts
    /// at something local, such as a type parameter.
    pub fn resolve(&self, path: &[String], is_extern: bool) -> Vec<Absolute> {
        match self.absolute(path, is_extern, LONGEST_CHAIN) {
            Some(start) => self.follow(start),
            None => Vec::new(),
        }
    }

    /// The same for a `use`, whose first name is a crate when it is nothing local.
    pub fn resolve_import(&self, import: &Import) -> Vec<Absolute> {
        let found = self.resolve(&import.path, import.is_extern);
        if !found.is_empty() {
            return found;
        }
        let is_local = import.path.first().is_none_or(|first| {
            self.blocks.iter().any(|block| block.declared.contains(first))
                || self.modules.0.get(&self.module).is_some_and(|scope| scope.declared.contains(first))
        });
        if is_local { Vec::new() } else { vec![import.path.clone()] }
    }

    fn absolute(&self, path: &[String], is_extern: bool, left: usize) -> Option<Absolute> {
        let (first, rest) = path.split_first()?;
        let from = |mut start: Absolute| {
            start.extend_from_slice(rest);
            Some(start)
        };
        if is_extern {
            return Some(path.to_vec());
        }
        match first.as_str() {
            // `main.rs` is a crate of its own that calls the library by its name.
            "crate" if self.module[1..] == ["main"] => return from(self.module.clone()),
            "crate" => return from(vec!["crate".to_owned()]),
            "self" | "super" => {
                let steps = path.iter().take_while(|name| ["self", "super"].contains(&name.as_str())).count();
                let up = path[..steps].iter().filter(|name| *name == "super").count();
                let above = &self.module[..self.module.len().saturating_sub(up)];
                return Some([above, &path[steps..]].concat());
            }
            "Self" => return None,
            _ => {}
        }
        for block in self.blocks.iter().rev() {
            if block.declared.contains(first) {
                return None;
            }
            if let Some(import) = block.imports.iter().find(|import| import.name == *first) {
                return from(self.target(import, left)?);
            }
        }
        if let Some(start) = self.member(&self.module, first, left) {
            return from(start);
        }
        let is_declared = self.modules.0.get(&self.module).is_some_and(|scope| scope.declared.contains(first));
        if is_declared {
            return None;
        }
        match first.as_str() {
            "rimbook" | "rimbook_core" => from(vec!["crate".to_owned()]),
            name if EXTERN_CRATES.with(|crates| crates.iter().any(|known| known == name)) => Some(path.to_vec()),
            _ => None,
        }
    }

    /// What a module holds under a name by a `mod` or a `use`.
    fn member(&self, module: &[String], name: &str, left: usize) -> Option<Absolute> {
        let left = left.checked_sub(1)?;
        let scope = self.modules.0.get(module)?;
        if scope.modules.contains(name) {
            return Some(child(module, name));
        }
        let there = Place { modules: self.modules, module: module.to_vec(), blocks: Vec::new() };
        if let Some(import) = scope.imports.iter().find(|import| import.name == name) {
            return there.target(import, left);
        }
        if scope.declared.contains(name) {
            return None;
        }
        for glob in scope.imports.iter().filter(|import| import.name == "*") {
            let target = there.target(glob, left)?;
            let holds = |scope: &Scope| scope.declared.contains(name) || scope.modules.contains(name);
            match self.modules.0.get(&target) {
                Some(scope) if holds(scope) => return Some(child(&target, name)),
                Some(_) => {
                    if let Some(found) = self.member(&target, name, left) {
                        return Some(found);
                    }
                }
                // Nothing tells what another crate holds. A macro's or a type's own path is then taken to come from it.
                None if target[0] == "sqlx" => return Some(child(&target, name)),
                None => {}
            }
        }
        None
    }

    fn target(&self, import: &Import, left: usize) -> Option<Absolute> {
        let left = left.checked_sub(1)?;
        // `use time::…` in a module with an import called `time` would find itself.
        let is_itself = import.path.first() == Some(&import.name);
        if is_itself && !matches!(import.path[0].as_str(), "crate" | "self" | "super") {
            let inner = self.modules.0.get(&self.module).is_some_and(|scope| scope.modules.contains(&import.path[0]));
            return Some(if inner { [&self.module[..], &import.path].concat() } else { import.path.clone() });
        }
        self.absolute(&import.path, import.is_extern, left).or_else(|| Some(import.path.clone()))
    }

    /// Adds what stands behind each re-export on the way.
    fn follow(&self, start: Absolute) -> Vec<Absolute> {
        let mut chain = vec![start];
        while chain.len() < LONGEST_CHAIN {
            let Some(next) = self.step(&chain[chain.len() - 1]) else { break };
            if chain.contains(&next) {
                break;
            }
            chain.push(next);
        }
        chain
    }

    /// Replaces the first re-exported name of a path by what it stands for.
    fn step(&self, path: &[String]) -> Option<Absolute> {
        if path[0] != "crate" {
            return None;
        }
        (1..path.len()).find_map(|at| {
            let (module, name) = (&path[..at], &path[at]);
            let mut target = self.member(module, name, LONGEST_CHAIN)?;
            (target != path[..=at]).then(|| {
                target.extend_from_slice(&path[at + 1..]);
                target
            })
        })
    }
}

thread_local! {
    /// The crates a source may name without importing them: the standard library and what both manifests depend on.
    pub static EXTERN_CRATES: Vec<String> = {
        let manifests = ["Cargo.toml", "src/Cargo.toml"].map(|name| {
            std::fs::read_to_string(std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join(name)).unwrap()
        });
        let dependencies = manifests.iter().flat_map(|manifest| {
            manifest.split("[dependencies]").nth(1).unwrap().split("\n[").next().unwrap().lines()
        });
        let names = dependencies.filter_map(|line| Some(line.split_once('=')?.0.trim().replace('-', "_")));
        ["std", "core", "alloc"].map(str::to_owned).into_iter().chain(names).collect()
    };
}
