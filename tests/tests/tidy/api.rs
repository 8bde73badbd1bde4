//! The public items of the core, one a line, as they are written.

use super::source::{Crate, File};
use quote::ToTokens;
use std::collections::BTreeSet;
use syn::{Attribute, Fields, ImplItem, Item, TraitItem, UseTree, Visibility};

/// A listing of public items.
#[derive(Debug, Default)]
pub struct Listing {
    /// Modules, types, traits, functions, constants.
    pub items: BTreeSet<String>,
    /// Methods, fields, variants, other names of the same.
    pub details: BTreeSet<String>,
}

/// Types that a macro makes, with the module that has them.
const MADE_BY_MACROS: [(&str, &str); 4] =
    [("settings", "enum Field"), ("expect", "enum AlarmKind"), ("expect", "enum AlarmLimit"), ("expect", "enum Cause")];

fn hidden(attributes: &[Attribute]) -> bool {
    attributes.iter().any(|attribute| {
        let text = attribute.meta.to_token_stream().to_string();
        text.starts_with("cfg") && text.contains("test") || text.starts_with("doc") && text.contains("hidden")
    })
}

fn public(visibility: &Visibility) -> bool {
    matches!(visibility, Visibility::Public(_))
}

/// Source text of tokens, with the blanks of a formatter.
fn text(tokens: impl ToTokens) -> String {
    let mut text = tokens.to_token_stream().to_string();
    for (spaced, plain) in [
        (" :: ", "::"),
        (" . ", "."),
        ("& ", "&"),
        (" < ", "<"),
        (" <", "<"),
        ("< ", "<"),
        (" >", ">"),
        (" ,", ","),
        (" (", "("),
        ("( ", "("),
        (" )", ")"),
        (" ;", ";"),
        (" :", ":"),
        ("[ ", "["),
        (" ]", "]"),
        ("- >", " ->"),
        (" !", "!"),
        ("' ", "'"),
    ] {
        text = text.replace(spaced, plain);
    }
    text.replace("->(", "-> (")
}

impl Listing {
    /// The public items that the root of a crate leads to.
    pub fn of(core: &Crate) -> Listing {
        let mut listing = Listing::default();
        let items = core.files.iter().map(|file| {
            let text = std::fs::read_to_string(&file.path).unwrap_or_default();
            syn::parse_file(&text).map(|file| file.items).unwrap_or_default()
        });
        listing.module(&Parsed { core, items: items.collect() }, &[], "");
        listing
    }

    fn module(&mut self, parsed: &Parsed<'_>, module: &[String], shown: &str) {
        let Some(file) = parsed.core.files.iter().find(|file| file.module == module) else { return };
        for item in parsed.items(file) {
            self.item(parsed, file, item, shown);
        }
        for (_, made) in MADE_BY_MACROS.iter().filter(|(of, _)| module == [*of]) {
            self.items.insert(format!("{shown}{made}"));
        }
    }

    fn item(&mut self, parsed: &Parsed<'_>, file: &File, item: &Item, shown: &str) {
        let mut add = |what: String| {
            self.items.insert(format!("{shown}{what}"));
        };
        match item {
            Item::Mod(item) if public(&item.vis) && !hidden(&item.attrs) => {
                add(format!("mod {}", item.ident));
                let below = [file.module.clone(), vec![item.ident.to_string()]].concat();
                self.module(parsed, &below, &format!("{shown}{}::", item.ident));
            }
            Item::Fn(item) if public(&item.vis) && !hidden(&item.attrs) => {
                add(text(&item.sig));
            }
            Item::Const(item) if public(&item.vis) => {
                add(format!("const {}: {}", item.ident, text(&item.ty)));
            }
            Item::Static(item) if public(&item.vis) => {
                add(format!("static {}: {}", item.ident, text(&item.ty)));
            }
            Item::Type(item) if public(&item.vis) => {
                add(format!("type {} = {}", item.ident, text(&item.ty)));
            }
            Item::Trait(item) if public(&item.vis) => {
                add(format!("trait {}", item.ident));
                for method in &item.items {
                    if let TraitItem::Fn(method) = method {
                        self.details.insert(format!("{shown}{}::{}", item.ident, text(&method.sig)));
                    }
                }
            }
            Item::Struct(item) if public(&item.vis) => {
                add(format!("struct {}{}", item.ident, text(&item.generics)));
                self.fields(&item.fields, &format!("{shown}{}", item.ident));
                self.methods(parsed, file, &item.ident.to_string(), shown);
            }
            Item::Enum(item) if public(&item.vis) => {
                add(format!("enum {}{}", item.ident, text(&item.generics)));
                for variant in &item.variants {
                    self.details.insert(format!("{shown}{}::{}{}", item.ident, variant.ident, text(&variant.fields)));
                }
                self.methods(parsed, file, &item.ident.to_string(), shown);
            }
            Item::Use(item) if public(&item.vis) && !hidden(&item.attrs) => {
                self.names(parsed, file, &item.tree, Vec::new(), shown);
            }
            _ => {}
        }
    }

    fn fields(&mut self, fields: &Fields, of: &str) {
        for (i, field) in fields.iter().enumerate().filter(|(_, field)| public(&field.vis)) {
            let name = field.ident.as_ref().map_or(i.to_string(), |name| name.to_string());
            self.details.insert(format!("{of}::{name}: {}", text(&field.ty)));
        }
    }

    /// Methods and constants of a type, wherever in the crate they are written; those of another type of the same name are
    /// in its own file.
    fn methods(&mut self, parsed: &Parsed<'_>, file: &File, name: &str, shown: &str) {
        let others = parsed.core.files.iter().zip(&parsed.items);
        let others = others.filter(|(other, items)| other.path == file.path || !defines(items, name));
        for item in others.flat_map(|(_, items)| items) {
            let Item::Impl(item) = item else { continue };
            let of = text(&item.self_ty);
            if item.trait_.is_some() || hidden(&item.attrs) || of.split('<').next() != Some(name) {
                continue;
            }
            for item in &item.items {
                match item {
                    ImplItem::Fn(item) if public(&item.vis) && !hidden(&item.attrs) => {
                        self.details.insert(format!("{shown}{name}::{}", text(&item.sig)));
                    }
                    ImplItem::Const(item) if public(&item.vis) => {
                        self.details.insert(format!("{shown}{name}::const {}: {}", item.ident, text(&item.ty)));
                    }
                    _ => {}
                }
            }
        }
    }

    /// Names under which a module hands on items: of a public module another name, of a private one the item itself.
    fn names(&mut self, parsed: &Parsed<'_>, file: &File, tree: &UseTree, mut path: Vec<String>, shown: &str) {
        match tree {
            UseTree::Path(tree) => {
                path.push(tree.ident.to_string());
                self.names(parsed, file, &tree.tree, path, shown);
            }
            UseTree::Group(group) => {
                group.items.iter().for_each(|tree| self.names(parsed, file, tree, path.clone(), shown));
            }
            UseTree::Name(name) => self.name(parsed, file, &path, &name.ident.to_string(), shown),
            UseTree::Rename(name) => self.name(parsed, file, &path, &name.ident.to_string(), shown),
            UseTree::Glob(_) => self.name(parsed, file, &path, "*", shown),
        }
    }

    fn name(&mut self, parsed: &Parsed<'_>, file: &File, path: &[String], name: &str, shown: &str) {
        let used = super::source::Use { path: path.to_vec(), line: 0 };
        let core = parsed.core;
        let Some(module) = core.absolute(file, &[], &used) else { return };
        if core.is_public(&module) {
            self.details.insert(format!("{shown}use {}::{name}", module.join("::")));
            return;
        }
        let Some(from) = core.files.iter().find(|file| file.module == module) else { return };
        let wanted = |item: &Item| {
            let ident = match item {
                Item::Fn(item) => &item.sig.ident,
                Item::Const(item) => &item.ident,
                Item::Static(item) => &item.ident,
                Item::Struct(item) => &item.ident,
                Item::Enum(item) => &item.ident,
                Item::Trait(item) => &item.ident,
                Item::Type(item) => &item.ident,
                _ => return false,
            };
            name == "*" || ident == name
        };
        for item in parsed.items(from).iter().filter(|item| wanted(item)) {
            self.item(parsed, from, item, shown);
        }
    }
}

/// Whether a type of this name is among items.
fn defines(items: &[Item], name: &str) -> bool {
    items.iter().any(|item| match item {
        Item::Struct(item) => item.ident == name,
        Item::Enum(item) => item.ident == name,
        _ => false,
    })
}

/// A crate with the items of each file.
struct Parsed<'a> {
    core: &'a Crate,
    items: Vec<Vec<Item>>,
}

impl Parsed<'_> {
    fn items(&self, file: &File) -> &[Item] {
        let place = self.core.files.iter().position(|other| other.path == file.path);
        place.map_or(&[], |place| &self.items[place])
    }
}
