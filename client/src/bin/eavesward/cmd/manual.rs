//! Documentation of the command: completions for shells, and manual pages.

use crate::failure::Failure;
use clap::{Args, Command};
use std::io::Write;
use std::path::PathBuf;

/// Options of completions.
#[derive(Args)]
pub struct Completions {
    /// The shell
    #[arg(value_enum)]
    shell: clap_complete::Shell,
}

impl Completions {
    /// Prints a script that completes `command` in the shell.
    pub fn run(&self, mut command: Command, out: &mut dyn Write) -> Result<(), Failure> {
        let mut script = Vec::new();
        clap_complete::generate(self.shell, &mut command, "eavesward", &mut script);
        Ok(out.write_all(&script)?)
    }
}

/// Options of the manual.
#[derive(Args)]
pub struct Man {
    /// Write a page for each subcommand into this folder, instead of printing the main page
    #[arg(long, value_name = "FOLDER")]
    dir: Option<PathBuf>,
}

impl Man {
    /// Prints the main page of `command`, or writes all pages.
    pub fn run(&self, command: Command, out: &mut dyn Write) -> Result<(), Failure> {
        if let Some(folder) = &self.dir {
            let written =
                std::fs::create_dir_all(folder).and_then(|()| clap_mangen::generate_to(command, folder));
            return written.map_err(|e| {
                Failure::usage(format!("the pages could not be written into {}: {e}", folder.display()))
            });
        }
        let mut page = Vec::new();
        clap_mangen::Man::new(command).render(&mut page)?;
        Ok(out.write_all(&page)?)
    }
}
