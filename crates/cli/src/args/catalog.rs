//! `catalog`.

use crate::catalog::{List, Request};
use clap::{Args, ValueEnum};

/// List what can be chosen: rhythms, bodies, channels, fields.
#[derive(Args)]
pub struct CatalogFlags {
    /// Only this list.
    #[arg(value_enum)]
    list: Option<ListWord>,
    /// As JSON, with the numbers that the tables round or leave out.
    #[arg(long)]
    json: bool,
}

/// A list of the catalogue.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum ListWord {
    /// Rhythms with their rates and the alarm expected of a monitor.
    Rhythms,
    /// Bodies with their resting values.
    Bodies,
    /// Channels, and the words for groups of them.
    Channels,
    /// Settings of a step with unit and range.
    Fields,
}

impl CatalogFlags {
    /// The request.
    pub fn request(self) -> Request {
        let list = self.list.map(|list| match list {
            ListWord::Rhythms => List::Rhythms,
            ListWord::Bodies => List::Bodies,
            ListWord::Channels => List::Channels,
            ListWord::Fields => List::Fields,
        });
        Request { list, json: self.json }
    }
}
