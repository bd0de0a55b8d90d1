//! The modules of the crate as their sources declare them: what each one imports, declares and contains.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

use syn::{Attribute, Item, Meta, UseTree};

/// A path from the root of a crate: `crate::desk::job` or `std::fs`.
pub type Absolute = Vec<String>;

/// A source file, and the module it is.
pub struct Source {
    pub path: PathBuf,
    pub module: Absolute,
    pub syntax: syn::File,
}

/// One imported name as it is written: `use a::b as c` is `c` for `a::b`, `use a::*` is `*` for `a`.
#[derive(Clone)]
pub struct Import {
    pub name: String,
    pub is_extern: bool,
    pub path: Vec<String>,
    pub line: usize,
}

/// What a module, or the block of a function, brings into scope.
#[derive(Default)]
pub struct Scope {
    pub imports: Vec<Import>,
    pub declared: BTreeSet<String>,
    pub modules: BTreeSet<String>,
}

impl Scope {
    /// Everything that these items bring into scope, except test code.
    pub fn of<'a>(items: impl IntoIterator<Item = &'a Item>) -> Self {
        let mut scope = Self::default();
        for item in items.into_iter().filter(|item| !is_test(attributes(item))) {
            match item {
                Item::Use(item) => scope.imports.extend(imports(item)),
                Item::ExternCrate(item) => scope.imports.push(extern_crate(item)),
                Item::Mod(item) => drop(scope.modules.insert(item.ident.to_string())),
                other => scope.declared.extend(declared_name(other)),
            }
        }
        scope
    }
}

/// Every module with its scope, by its absolute path.
pub struct Modules(pub BTreeMap<Absolute, Scope>);

impl Modules {
    pub fn of(sources: &[Source]) -> Self {
        let mut modules = Self(BTreeMap::new());
        for source in sources {
            modules.add(&source.module, &source.syntax.items);
        }
        modules
    }

    fn add(&mut self, module: &[String], items: &[Item]) {
        for item in items.iter().filter(|item| !is_test(attributes(item))) {
            if let Item::Mod(inner) = item
                && let Some((_, items)) = &inner.content
            {
                self.add(&child(module, &inner.ident.to_string()), items);
            }
        }
        let (scope, more) = (self.0.entry(module.to_vec()).or_default(), Scope::of(items));
        scope.imports.extend(more.imports);
        scope.declared.extend(more.declared);
        scope.modules.extend(more.modules);
    }
}

/// Reads every file of the crate that is compiled outside tests.
pub fn read_crate(src: &Path) -> Vec<Source> {
    let mut paths = Vec::new();
    collect(src, &mut paths);
    paths.sort();
    let mut sources: Vec<Source> = paths
        .into_iter()
        .map(|path| {
            let text = std::fs::read_to_string(&path).unwrap();
            let syntax = syn::parse_file(&text).unwrap_or_else(|why| panic!("{}: {why}", path.display()));
            Source { module: module_of(path.strip_prefix(src).unwrap()), path, syntax }
        })
        .collect();
    let tests: Vec<Absolute> = sources.iter().flat_map(test_modules).collect();
    sources
        .retain(|source| !is_test(&source.syntax.attrs) && !tests.iter().any(|test| source.module.starts_with(test)));
    sources
}

fn collect(folder: &Path, paths: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            collect(&path, paths);
        } else if path.extension().is_some_and(|e| e == "rs") {
            paths.push(path);
        }
    }
}

/// `lib.rs` is `crate`, and `core.rs` is taken for a part of it: the rooms of both crates have one set of names. `desk/mod.rs`
/// and `desk.rs` are `crate::desk`, `main.rs` is its own `crate::main`.
pub fn module_of(relative: &Path) -> Absolute {
    let mut module = vec!["crate".to_owned()];
    module.extend(relative.with_extension("").iter().map(|part| part.to_str().unwrap().to_owned()));
    if module.last().is_some_and(|last| last == "mod") || module[1..] == ["lib"] || module[1..] == ["core"] {
        module.pop();
    }
    module
}

/// The modules in files of their own that a file declares for tests only.
fn test_modules(source: &Source) -> Vec<Absolute> {
    let mut found = Vec::new();
    let mut open: Vec<(Absolute, &[Item])> = vec![(source.module.clone(), &source.syntax.items)];
    while let Some((module, items)) = open.pop() {
        for item in items {
            let Item::Mod(inner) = item else { continue };
            let path = child(&module, &inner.ident.to_string());
            match &inner.content {
                None if is_test(&inner.attrs) => found.push(path),
                Some((_, items)) if !is_test(&inner.attrs) => open.push((path, items)),
                _ => {}
            }
        }
    }
    found
}

pub fn child(module: &[String], name: &str) -> Absolute {
    let mut path = module.to_vec();
    path.push(name.to_owned());
    path
}

/// Whether an item is compiled for tests only: `#[test]`, `#[cfg(test)]`, `#[cfg(all(test, …))]`. Not `cfg(not(test))`,
/// nor `cfg(any(test, …))`, which other builds contain too.
pub fn is_test(attributes: &[Attribute]) -> bool {
    fn implies_test(meta: &Meta) -> bool {
        match meta {
            Meta::Path(path) => path.is_ident("test"),
            Meta::List(list) if list.path.is_ident("all") => list
                .parse_args_with(syn::punctuated::Punctuated::<Meta, syn::Token![,]>::parse_terminated)
                .is_ok_and(|conditions| conditions.iter().any(implies_test)),
            _ => false,
        }
    }
    attributes.iter().any(|attribute| match &attribute.meta {
        Meta::Path(path) => path.is_ident("test"),
        Meta::List(list) if list.path.is_ident("cfg") => {
            list.parse_args::<Meta>().is_ok_and(|meta| implies_test(&meta))
        }
        _ => false,
    })
}

/// The attributes of an item of any kind.
pub fn attributes(item: &Item) -> &[Attribute] {
    match item {
        Item::Const(i) => &i.attrs,
        Item::Enum(i) => &i.attrs,
        Item::ExternCrate(i) => &i.attrs,
        Item::Fn(i) => &i.attrs,
        Item::ForeignMod(i) => &i.attrs,
        Item::Impl(i) => &i.attrs,
        Item::Macro(i) => &i.attrs,
        Item::Mod(i) => &i.attrs,
        Item::Static(i) => &i.attrs,
        Item::Struct(i) => &i.attrs,
        Item::Trait(i) => &i.attrs,
        Item::TraitAlias(i) => &i.attrs,
        Item::Type(i) => &i.attrs,
        Item::Union(i) => &i.attrs,
        Item::Use(i) => &i.attrs,
        _ => &[],
    }
}

fn declared_name(item: &Item) -> Option<String> {
    let ident = match item {
        Item::Const(i) => &i.ident,
        Item::Enum(i) => &i.ident,
        Item::Fn(i) => &i.sig.ident,
        Item::Macro(i) => i.ident.as_ref()?,
        Item::Static(i) => &i.ident,
        Item::Struct(i) => &i.ident,
        Item::Trait(i) => &i.ident,
        Item::TraitAlias(i) => &i.ident,
        Item::Type(i) => &i.ident,
        Item::Union(i) => &i.ident,
        _ => return None,
    };
    Some(ident.to_string())
}

/// Every name of a `use`, groups taken apart.
pub fn imports(item: &syn::ItemUse) -> Vec<Import> {
    let mut found = Vec::new();
    walk(&item.tree, &mut Vec::new(), item.leading_colon.is_some(), &mut found);
    found
}

fn walk(tree: &UseTree, prefix: &mut Vec<String>, is_extern: bool, found: &mut Vec<Import>) {
    let mut push = |name: String, ident: &syn::Ident, path: Vec<String>| {
        found.push(Import { name, is_extern, path, line: ident.span().start().line });
    };
    let with = |prefix: &[String], ident: &syn::Ident| {
        // `use a::{self}` names `a` itself.
        if ident == "self" && !prefix.is_empty() { prefix.to_vec() } else { child(prefix, &ident.to_string()) }
    };
    match tree {
        UseTree::Path(path) => {
            prefix.push(path.ident.to_string());
            walk(&path.tree, prefix, is_extern, found);
            prefix.pop();
        }
        UseTree::Name(name) => {
            let path = with(prefix, &name.ident);
            push(path.last().cloned().unwrap_or_default(), &name.ident, path);
        }
        UseTree::Rename(rename) => push(rename.rename.to_string(), &rename.ident, with(prefix, &rename.ident)),
        UseTree::Glob(glob) => {
            let line = glob.star_token.spans[0].start().line;
            found.push(Import { name: "*".to_owned(), is_extern, path: prefix.clone(), line });
        }
        UseTree::Group(group) => group.items.iter().for_each(|tree| walk(tree, prefix, is_extern, found)),
    }
}

fn extern_crate(item: &syn::ItemExternCrate) -> Import {
    let name = item.rename.as_ref().map_or(&item.ident, |(_, name)| name).to_string();
    let is_self = item.ident == "self";
    let path = vec![if is_self { "crate".to_owned() } else { item.ident.to_string() }];
    Import { name, is_extern: !is_self, path, line: item.ident.span().start().line }
}
