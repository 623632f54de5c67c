//! Gauges and rain.

use crate::domain::model::{gauge, rain};
use eavesward_contract as wire;

impl From<wire::MonthlyNormals> for gauge::Normals {
    fn from(normals: wire::MonthlyNormals) -> Self {
        Self {
            rain_mm: normals.rain_mm,
            wet_days: normals.wet_days,
            wet_day_threshold_mm: normals.wet_day_threshold_mm,
            years: normals.years,
        }
    }
}

impl From<gauge::Normals> for wire::MonthlyNormals {
    fn from(normals: gauge::Normals) -> Self {
        Self {
            rain_mm: normals.rain_mm,
            wet_days: normals.wet_days,
            wet_day_threshold_mm: normals.wet_day_threshold_mm,
            years: normals.years,
        }
    }
}

impl From<wire::GaugeRequest> for gauge::GaugeFacts {
    fn from(request: wire::GaugeRequest) -> Self {
        Self {
            name: request.name,
            latitude_deg: request.latitude_deg,
            longitude_deg: request.longitude_deg,
            normals: request.normals.map(Into::into),
        }
    }
}

impl From<gauge::Gauge> for wire::Gauge {
    fn from(gauge: gauge::Gauge) -> Self {
        let facts = gauge.facts;
        Self {
            id: gauge.id.0,
            name: facts.name,
            latitude_deg: facts.latitude_deg,
            longitude_deg: facts.longitude_deg,
            normals: facts.normals.map(Into::into),
            rain_from: gauge.span.from,
            rain_through: gauge.span.through,
            rain_days: gauge.span.days,
            version: gauge.version,
            created_at: gauge.created_at,
            updated_at: gauge.updated_at,
        }
    }
}

impl From<rain::RainDay> for wire::RainDay {
    fn from(day: rain::RainDay) -> Self {
        Self { date: day.date, rain_mm: day.rain_mm }
    }
}

impl From<wire::RainDay> for rain::RainDay {
    fn from(day: wire::RainDay) -> Self {
        Self { date: day.date, rain_mm: day.rain_mm }
    }
}

impl From<rain::RainReport> for wire::RainReport {
    fn from(report: rain::RainReport) -> Self {
        let refused = report.refusals.into_iter().map(|refusal| {
            let (line, index) = match refusal.place {
                rain::Place::Line(line) => (Some(line), None),
                rain::Place::Index(index) => (None, Some(index)),
            };
            wire::RainRefusal { line, index, date: refusal.date, reason: refusal.reason }
        });
        Self {
            counts: wire::RainCounts {
                added: report.new,
                changed: report.changed,
                same: report.same,
                refused: report.refused,
                spread: report.spread,
                other: report.other,
            },
            refused: refused.collect(),
            rain_from: report.span.from,
            rain_through: report.span.through,
        }
    }
}
