//! The sources of a crate: its files, the tokens of each, and which file each path leads to.

use proc_macro2::{Delimiter, TokenStream, TokenTree};
use quote::ToTokens;
use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use syn::{Attribute, Item, UseTree};

/// The root of the workspace.
pub fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).ancestors().nth(3).expect("the tests lie in the workspace").to_owned()
}

/// A path below the root, as it is printed.
pub fn shown(path: &Path) -> String {
    path.strip_prefix(root()).unwrap_or(path).display().to_string()
}

/// Every file below a folder of the workspace with this ending, in order; none that a build or an environment has made.
pub fn files(folder: &str, ending: &str) -> Vec<PathBuf> {
    fn walk(folder: &Path, ending: &str, found: &mut Vec<PathBuf>) {
        let Ok(entries) = std::fs::read_dir(folder) else { return };
        for path in entries.flatten().map(|entry| entry.path()) {
            let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
            if path.is_dir() {
                if name != "target" && !name.starts_with('.') && !name.starts_with("__") {
                    walk(&path, ending, found);
                }
            } else if name.ends_with(ending) {
                found.push(path);
            }
        }
    }
    let mut found = Vec::new();
    walk(&root().join(folder), ending, &mut found);
    found.sort();
    found
}

/// A use of something: a path as written, with its line.
#[derive(Clone, Debug, PartialEq)]
pub struct Use {
    pub path: Vec<String>,
    pub line: usize,
}

/// The parts of a file that the rules look at, outside its tests.
#[derive(Clone, Debug, Default)]
pub struct Code {
    /// Paths of two segments and more, with those of `use`, as the module says them that holds them.
    pub paths: Vec<(Vec<String>, Use)>,
    /// Names of macros called.
    pub macros: Vec<Use>,
    /// Names of methods called on anything but `self`.
    pub methods: Vec<Use>,
    /// Texts.
    pub literals: Vec<Use>,
    /// Modules that lie in files of their own, below the module that declares them, and whether they are public.
    pub children: Vec<(Vec<String>, bool)>,
}

/// Whether an item is compiled for tests alone.
fn only_for_tests(attributes: &[Attribute]) -> bool {
    attributes.iter().any(|attribute| {
        attribute.path().is_ident("test")
            || attribute.path().is_ident("cfg") && attribute.meta.to_token_stream().to_string().contains("test")
    })
}

fn attributes(item: &Item) -> &[Attribute] {
    match item {
        Item::Const(item) => &item.attrs,
        Item::Fn(item) => &item.attrs,
        Item::Impl(item) => &item.attrs,
        Item::Mod(item) => &item.attrs,
        Item::Static(item) => &item.attrs,
        Item::Struct(item) => &item.attrs,
        Item::Use(item) => &item.attrs,
        _ => &[],
    }
}

impl Code {
    /// Reads the text of a file.
    pub fn read(text: &str) -> syn::Result<Code> {
        let mut code = Code::default();
        code.take(&syn::parse_file(text)?.items, &[]);
        Ok(code)
    }

    fn take(&mut self, items: &[Item], inside: &[String]) {
        for item in items.iter().filter(|item| !only_for_tests(attributes(item))) {
            match item {
                Item::Use(item) => {
                    let line = item.use_token.span.start().line;
                    self.take_tree(&item.tree, Vec::new(), inside, line);
                }
                Item::Mod(item) => {
                    let path: Vec<String> = inside.iter().cloned().chain([item.ident.to_string()]).collect();
                    match &item.content {
                        Some((_, items)) => self.take(items, &path),
                        None => self.children.push((path, matches!(item.vis, syn::Visibility::Public(_)))),
                    }
                }
                item => self.take_tokens(item.to_token_stream(), inside),
            }
        }
    }

    fn take_tree(&mut self, tree: &UseTree, mut path: Vec<String>, inside: &[String], line: usize) {
        match tree {
            UseTree::Path(tree) => {
                path.push(tree.ident.to_string());
                self.take_tree(&tree.tree, path, inside, line);
            }
            UseTree::Group(group) => {
                group.items.iter().for_each(|tree| self.take_tree(tree, path.clone(), inside, line));
            }
            UseTree::Name(name) => {
                // `self` in a group is the path before it.
                if name.ident != "self" {
                    path.push(name.ident.to_string());
                }
                self.paths.push((inside.to_vec(), Use { path, line }));
            }
            UseTree::Rename(name) => {
                path.push(name.ident.to_string());
                self.paths.push((inside.to_vec(), Use { path, line }));
            }
            UseTree::Glob(_) => {
                path.push("*".to_owned());
                self.paths.push((inside.to_vec(), Use { path, line }));
            }
        }
    }

    fn take_tokens(&mut self, tokens: TokenStream, inside: &[String]) {
        let tokens: Vec<TokenTree> = tokens.into_iter().collect();
        let punct =
            |i: usize, wanted: char| matches!(tokens.get(i), Some(TokenTree::Punct(p)) if p.as_char() == wanted);
        let group =
            |i: usize, wanted: Delimiter| matches!(tokens.get(i), Some(TokenTree::Group(g)) if g.delimiter() == wanted);
        let mut i = 0;
        while i < tokens.len() {
            match &tokens[i] {
                TokenTree::Group(group) => self.take_tokens(group.stream(), inside),
                TokenTree::Ident(ident) => {
                    let line = ident.span().start().line;
                    let mut path = vec![ident.to_string()];
                    let method = i > 0 && punct(i - 1, '.');
                    while punct(i + 1, ':') && punct(i + 2, ':') {
                        let Some(TokenTree::Ident(next)) = tokens.get(i + 3) else { break };
                        path.push(next.to_string());
                        i += 3;
                    }
                    let on_self = i > 1 && matches!(&tokens[i - 2], TokenTree::Ident(ident) if ident == "self");
                    if method && on_self {
                        // A method of the file's own type.
                    } else if method && (group(i + 1, Delimiter::Parenthesis) || punct(i + 1, ':')) {
                        self.methods.push(Use { path, line });
                    } else if punct(i + 1, '!') && !punct(i + 2, '=') {
                        self.macros.push(Use { path, line });
                    } else if path.len() > 1 {
                        self.paths.push((inside.to_vec(), Use { path, line }));
                    }
                }
                TokenTree::Literal(literal) => {
                    let text = literal.to_string();
                    if text.starts_with('"') {
                        let path = vec![text.trim_matches('"').to_owned()];
                        self.literals.push(Use { path, line: literal.span().start().line });
                    }
                }
                TokenTree::Punct(_) => {}
            }
            i += 1;
        }
    }
}

/// A file of a crate.
#[derive(Clone, Debug)]
pub struct File {
    pub path: PathBuf,
    /// Its place in the crate; empty for the root.
    pub module: Vec<String>,
    pub code: Code,
}

/// The files of a crate, by module.
#[derive(Clone, Debug)]
pub struct Crate {
    pub files: Vec<File>,
}

impl Crate {
    /// Reads the files that a root file and its modules lead to.
    pub fn read(root_file: &Path) -> Crate {
        let mut files = Vec::new();
        read_module(root_file, root_file.parent().expect("a folder"), Vec::new(), &mut files);
        Crate { files }
    }

    /// The file of the module that a path of this crate leads to, and the part of the path that is modules.
    fn file_of(&self, path: &[String]) -> Option<usize> {
        let by_module: BTreeMap<&[String], usize> =
            self.files.iter().enumerate().map(|(i, file)| (file.module.as_slice(), i)).collect();
        (0..=path.len()).rev().find_map(|length| by_module.get(&path[..length]).copied())
    }

    /// The path from the root of the crate that a path in a module of a file stands for; `None` when it leads elsewhere.
    pub fn absolute(&self, file: &File, inside: &[String], used: &Use) -> Option<Vec<String>> {
        let mut module = [file.module.clone(), inside.to_vec()].concat();
        let mut rest = used.path.as_slice();
        match rest.first()?.as_str() {
            "crate" => {
                module.clear();
                rest = &rest[1..];
            }
            "self" => rest = &rest[1..],
            "super" => {
                while rest.first().is_some_and(|first| first == "super") {
                    module.pop();
                    rest = &rest[1..];
                }
            }
            first => {
                let child = [module.clone(), vec![first.to_owned()]].concat();
                self.files.iter().find(|file| file.module == child)?;
            }
        }
        Some([module, rest.to_vec()].concat())
    }

    /// Whether a module is public, and all above it.
    pub fn is_public(&self, module: &[String]) -> bool {
        module.iter().enumerate().all(|(i, name)| {
            let parent = self.files.iter().find(|file| file.module == module[..i]);
            parent.is_some_and(|parent| parent.code.children.contains(&(vec![name.clone()], true)))
        })
    }

    /// Which files each file uses, with the first line that does.
    pub fn imports(&self) -> Vec<BTreeMap<usize, usize>> {
        self.files
            .iter()
            .enumerate()
            .map(|(i, file)| {
                let mut uses = BTreeMap::new();
                for (inside, used) in &file.code.paths {
                    let target = self.absolute(file, inside, used).and_then(|path| self.file_of(&path));
                    if let Some(target) = target.filter(|target| *target != i) {
                        uses.entry(target).or_insert(used.line);
                    }
                }
                uses
            })
            .collect()
    }

    /// Sets of files that all import each other, by way of others or not; each of two files or more.
    pub fn circles(&self) -> Vec<BTreeSet<usize>> {
        let imports = self.imports();
        let reach: Vec<BTreeSet<usize>> = (0..imports.len())
            .map(|start| {
                let (mut seen, mut open) = (BTreeSet::new(), vec![start]);
                while let Some(next) = open.pop() {
                    open.extend(imports[next].keys().copied().filter(|target| seen.insert(*target)));
                }
                seen
            })
            .collect();
        let circles: BTreeSet<BTreeSet<usize>> = (0..imports.len())
            .filter(|i| reach[*i].contains(i))
            .map(|i| reach[i].iter().copied().filter(|other| reach[*other].contains(&i)).collect())
            .collect();
        circles.into_iter().collect()
    }
}

fn read_module(path: &Path, children: &Path, module: Vec<String>, files: &mut Vec<File>) {
    let text = std::fs::read_to_string(path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    let code = Code::read(&text).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    let declared = code.children.clone();
    files.push(File { path: path.to_owned(), module: module.clone(), code });
    for (child, _) in declared {
        let below = child.iter().fold(children.to_owned(), |folder, name| folder.join(name));
        let flat = below.with_extension("rs");
        let file = if flat.exists() { flat } else { below.join("mod.rs") };
        if file.exists() {
            read_module(&file, &below, [module.clone(), child].concat(), files);
        }
    }
}
