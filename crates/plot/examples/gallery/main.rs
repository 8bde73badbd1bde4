//! Draws a strip of every rhythm in every body, and the table of rhythms that shows them.
//!
//! `cargo run -p pulsewright-plot --example gallery` writes `docs/strips/*.svg` and `docs/rhythms.md`;
//! `... --example gallery -- --png FOLDER [WORD]` writes the strips (of rhythms whose word contains WORD) as PNG
//! into FOLDER, to look at.
use std::{env, error::Error, fs, path::Path};

mod pages;

fn main() -> Result<(), Box<dyn Error>> {
    let arguments: Vec<String> = env::args().skip(1).collect();
    match arguments.iter().map(String::as_str).collect::<Vec<_>>().as_slice() {
        [] => write_docs(&pages::docs()),
        ["--png", folder] => write_png(Path::new(folder), ""),
        ["--png", folder, word] => write_png(Path::new(folder), word),
        _ => Err("usage: gallery [--png FOLDER [WORD]]".into()),
    }
}

fn write_docs(docs: &Path) -> Result<(), Box<dyn Error>> {
    let strips = docs.join("strips");
    fs::create_dir_all(&strips)?;
    let wanted = pages::strips()?;
    for entry in fs::read_dir(&strips)? {
        let path = entry?.path();
        let stale = !wanted.iter().any(|(name, _)| path.file_name().is_some_and(|file| file == name.as_str()));
        if stale && path.extension().is_some_and(|end| end == "svg") {
            fs::remove_file(path)?;
        }
    }
    for (name, svg) in &wanted {
        fs::write(strips.join(name), svg)?;
    }
    fs::write(docs.join("rhythms.md"), pages::table())?;
    println!("{} strips in {}", wanted.len(), strips.display());
    Ok(())
}

fn write_png(folder: &Path, word: &str) -> Result<(), Box<dyn Error>> {
    fs::create_dir_all(folder)?;
    for (name, drawing) in pages::drawings(word)? {
        fs::write(folder.join(format!("{name}.png")), pulsewright_plot::png::encode(&drawing, 130)?)?;
    }
    Ok(())
}
