//! Every path a source names outside its tests: in imports, expressions, types, patterns, attributes and macro calls.

use proc_macro2::{Delimiter, TokenStream, TokenTree};
use syn::visit::{self, Visit};

use super::resolve;
use super::source::{self, Absolute, Modules, Scope, Source};

/// Where a path leads to.
pub type Place = Absolute;

/// A path as it is written, and the places it leads to.
pub struct Named {
    pub as_written: Vec<String>,
    pub is_macro: bool,
    pub places: Vec<Place>,
    pub line: usize,
}

pub fn named_by(source: &Source, modules: &Modules) -> Vec<Named> {
    let at = resolve::Place { modules, module: source.module.clone(), blocks: Vec::new() };
    let mut visitor = Visitor { at, named: Vec::new() };
    visitor.visit_file(&source.syntax);
    visitor.named
}

struct Visitor<'a> {
    at: resolve::Place<'a>,
    named: Vec<Named>,
}

impl Visitor<'_> {
    fn add(&mut self, as_written: Vec<String>, is_extern: bool, is_macro: bool, line: usize) {
        let places = self.at.resolve(&as_written, is_extern);
        self.named.push(Named { as_written, is_macro, places, line });
    }

    fn add_path(&mut self, path: &syn::Path, is_macro: bool) {
        let names: Vec<String> = path.segments.iter().map(|segment| segment.ident.to_string()).collect();
        let line = path.segments.first().map_or(0, |first| first.ident.span().start().line);
        self.add(names, path.leading_colon.is_some(), is_macro, line);
    }

    /// Paths among the tokens of a macro call or an attribute: names joined by `::`, groups after `::` taken apart.
    fn add_tokens(&mut self, tokens: TokenStream, prefix: &[String]) {
        let tokens: Vec<TokenTree> = tokens.into_iter().collect();
        let is_colon = |at: usize| matches!(tokens.get(at), Some(TokenTree::Punct(p)) if p.as_char() == ':');
        let is_double_colon = |at: usize| {
            matches!(tokens.get(at), Some(TokenTree::Punct(p)) if p.as_char() == ':' && p.spacing() == proc_macro2::Spacing::Joint)
                && is_colon(at + 1)
        };
        let mut at = 0;
        while at < tokens.len() {
            match &tokens[at] {
                TokenTree::Ident(first) => {
                    // After `<T as Trait>` the colons lead on from the trait, not from a crate.
                    let leads_on = at >= 3 && matches!(&tokens[at - 3], TokenTree::Punct(p) if p.as_char() == '>');
                    let is_extern = prefix.is_empty() && at >= 2 && is_double_colon(at - 2) && !leads_on;
                    let (line, mut path) = (first.span().start().line, prefix.to_vec());
                    path.push(first.to_string());
                    at += 1;
                    while is_double_colon(at) {
                        match tokens.get(at + 2) {
                            Some(TokenTree::Ident(next)) => path.push(next.to_string()),
                            Some(TokenTree::Group(group)) if group.delimiter() == Delimiter::Brace => {
                                self.add_tokens(group.stream(), &path);
                            }
                            Some(TokenTree::Punct(star)) if star.as_char() == '*' => path.push("*".to_owned()),
                            _ => {}
                        }
                        at += 3;
                    }
                    let is_macro = matches!(tokens.get(at), Some(TokenTree::Punct(p)) if p.as_char() == '!');
                    self.add(path, is_extern, is_macro, line);
                    continue;
                }
                TokenTree::Group(group) => self.add_tokens(group.stream(), &[]),
                TokenTree::Literal(literal) => self.add_literal(&literal.to_string(), literal.span().start().line),
                TokenTree::Punct(_) => {}
            }
            at += 1;
        }
    }

    /// `#[serde(with = "crate::desk::x")]`: a path in quotes.
    fn add_literal(&mut self, literal: &str, line: usize) {
        let Ok(path) = syn::parse_str::<syn::Path>(literal.trim_matches('"')) else { return };
        if path.segments.len() > 1 {
            let names = path.segments.iter().map(|segment| segment.ident.to_string()).collect();
            self.add(names, path.leading_colon.is_some(), false, line);
        }
    }
}

impl<'ast> Visit<'ast> for Visitor<'_> {
    fn visit_item(&mut self, item: &'ast syn::Item) {
        if !source::is_test(source::attributes(item)) {
            visit::visit_item(self, item);
        }
    }

    fn visit_impl_item_fn(&mut self, function: &'ast syn::ImplItemFn) {
        if !source::is_test(&function.attrs) {
            visit::visit_impl_item_fn(self, function);
        }
    }

    fn visit_item_mod(&mut self, module: &'ast syn::ItemMod) {
        let (inner, blocks) =
            (source::child(&self.at.module, &module.ident.to_string()), std::mem::take(&mut self.at.blocks));
        let outer = std::mem::replace(&mut self.at.module, inner);
        visit::visit_item_mod(self, module);
        (self.at.module, self.at.blocks) = (outer, blocks);
    }

    fn visit_block(&mut self, block: &'ast syn::Block) {
        let items = block.stmts.iter().filter_map(|statement| match statement {
            syn::Stmt::Item(item) => Some(item),
            _ => None,
        });
        self.at.blocks.push(Scope::of(items));
        visit::visit_block(self, block);
        self.at.blocks.pop();
    }

    fn visit_item_use(&mut self, item: &'ast syn::ItemUse) {
        for import in source::imports(item) {
            let mut places = self.at.resolve_import(&import);
            if import.name == "*" {
                places.iter_mut().for_each(|place| place.push("*".to_owned()));
            }
            self.named.push(Named { as_written: import.path, is_macro: false, places, line: import.line });
        }
    }

    fn visit_item_extern_crate(&mut self, item: &'ast syn::ItemExternCrate) {
        if item.ident != "self" {
            self.add(vec![item.ident.to_string()], true, false, item.ident.span().start().line);
        }
    }

    fn visit_path(&mut self, path: &'ast syn::Path) {
        self.add_path(path, false);
        visit::visit_path(self, path);
    }

    /// `<OffsetDateTime>::now_utc` and `<T as Trait>::now`: the type and the function stand apart.
    fn visit_expr_path(&mut self, expression: &'ast syn::ExprPath) {
        if let Some(own) = &expression.qself
            && let syn::Type::Path(of) = &*own.ty
        {
            let rest = expression.path.segments.iter().skip(own.position).map(|s| s.ident.to_string());
            let names: Vec<String> = of.path.segments.iter().map(|s| s.ident.to_string()).chain(rest).collect();
            let line = expression.path.segments.first().map_or(0, |s| s.ident.span().start().line);
            self.add(names, of.path.leading_colon.is_some(), false, line);
        }
        visit::visit_expr_path(self, expression);
    }

    fn visit_macro(&mut self, call: &'ast syn::Macro) {
        self.add_path(&call.path, true);
        self.add_tokens(call.tokens.clone(), &[]);
    }

    fn visit_attribute(&mut self, attribute: &'ast syn::Attribute) {
        match &attribute.meta {
            syn::Meta::NameValue(pair) if pair.path.is_ident("doc") => {}
            syn::Meta::NameValue(pair) if pair.path.is_ident("path") => {
                self.add(vec!["path".to_owned()], false, true, 0)
            }
            syn::Meta::NameValue(pair) => visit::visit_expr(self, &pair.value),
            syn::Meta::Path(path) => self.add_path(path, false),
            syn::Meta::List(list) => {
                self.add_path(&list.path, false);
                self.add_tokens(list.tokens.clone(), &[]);
            }
        }
    }
}
