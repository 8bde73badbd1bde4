//! The manual page and shell completions, from the same table as the help.

use crate::diagnostics::{VerbOutcome, print_document};
use clap::Command;
use clap_complete::Shell;
use clap_mangen::Man;
use std::io::Write;

/// Prints the manual page: the front page, then each verb's.
pub fn page(mut command: Command) -> VerbOutcome {
    command.build();
    print_document(|out| {
        Man::new(command.clone()).render(out)?;
        for verb in command.get_subcommands() {
            let title = format!("pulsewright {}", verb.get_name()).to_uppercase();
            writeln!(out, ".SH {title}")?;
            let verb = Man::new(verb.clone());
            verb.render_synopsis_section(out)?;
            verb.render_description_section(out)?;
            verb.render_options_section(out)?;
        }
        Ok(())
    })
}

/// Prints a shell's completions.
pub fn completions(mut command: Command, shell: Shell) -> VerbOutcome {
    // The generator panics when it cannot write, so it writes to memory.
    let mut text = Vec::new();
    clap_complete::generate(shell, &mut command, "pulsewright", &mut text);
    print_document(|out| out.write_all(&text))
}
