//! What accumulates in a component, and in which unit.

use crate::domain::base::words::words;

words! {
    /// What accumulates. The stored word names the unit, too.
    Measure {
        /// Runoff over the plan area of the roof.
        Runoff "mm of runoff",
        /// Dry leaf on the roof.
        RoofLeaf "kg/m2 of dry leaf on the roof",
        /// Dry leaf in the gutter.
        GutterLeaf "kg/m of dry leaf in the gutter",
        /// Dry leaf on the screen.
        ScreenLeaf "kg/m2 of dry leaf on the screen",
        /// Solids in the chamber for each m2 of roof. Only forecasts of before hold it.
        Solids "g of solids in the chamber per m2 of roof",
        /// Solids in the chamber.
        Grit "g of solids in the chamber",
        /// How often the chamber was full.
        Fills "fills of the chamber",
        /// Sediment on the floor of the tank.
        Sediment "mm of sediment on the floor",
        /// The dose of ultraviolet light.
        Ultraviolet "MJ/m2 of ultraviolet",
        /// Ageing by heat.
        Ageing "days of ageing at 25 degrees C",
        /// Water through the filter.
        Filtered "litres through the filter",
        /// Water that the seal of a trap has lost.
        Evaporated "mm evaporated from the seal",
    }
}

impl Measure {
    /// The unit as a symbol; empty for a plain number.
    pub const fn unit(self) -> &'static str {
        match self {
            Self::Runoff | Self::Sediment | Self::Evaporated => "mm",
            Self::RoofLeaf | Self::ScreenLeaf => "kg/m2",
            Self::GutterLeaf => "kg/m",
            Self::Solids => "g/m2",
            Self::Grit => "g",
            Self::Fills => "",
            Self::Ultraviolet => "MJ/m2",
            Self::Ageing => "d",
            Self::Filtered => "L",
        }
    }

    /// What is measured.
    pub const fn of(self) -> &'static str {
        match self {
            Self::Runoff => "runoff",
            Self::RoofLeaf => "dry leaf on the roof",
            Self::GutterLeaf => "dry leaf in the gutter",
            Self::ScreenLeaf => "dry leaf on the screen",
            Self::Solids => "solids from the roof in the chamber",
            Self::Grit => "solids in the chamber",
            Self::Fills => "fills of the chamber",
            Self::Sediment => "sediment on the floor",
            Self::Ultraviolet => "ultraviolet",
            Self::Ageing => "ageing at 25 degrees C",
            Self::Filtered => "water through the filter",
            Self::Evaporated => "water lost from the seal",
        }
    }

    /// The unit in a sentence that has already said what is measured.
    pub const fn in_words(self) -> &'static str {
        match self {
            Self::Fills => "fills",
            Self::Ageing => "days",
            _ => self.unit(),
        }
    }

    /// The unit in a sentence, with what is measured.
    pub fn in_full(self) -> String {
        if self.unit().is_empty() {
            return self.of().to_owned();
        }
        format!("{} of {}", self.in_words(), self.of())
    }
}
