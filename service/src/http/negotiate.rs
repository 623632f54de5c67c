//! Which media type to answer with, by `Accept` (RFC 9110, 12.5.1).

use actix_web::HttpRequest;
use actix_web::http::header;

/// The best of `offers` (media types in small letters, without parameters), the first on a tie; none when the caller
/// rules all of them out. A caller who says nothing takes anything.
pub fn best<'a>(req: &HttpRequest, offers: &[&'a str]) -> Option<&'a str> {
    let values = req.headers().get_all(header::ACCEPT).filter_map(|value| value.to_str().ok());
    best_of(&values.collect::<Vec<_>>().join(","), offers)
}

fn best_of<'a>(accept: &str, offers: &[&'a str]) -> Option<&'a str> {
    let ranges: Vec<MediaRange> = accept.split(',').filter_map(range).collect();
    if ranges.is_empty() {
        return offers.first().copied();
    }
    let mut best = None;
    for offer in offers {
        let weight = weight(offer, &ranges);
        if weight > best.map_or(0, |(_, most)| most) {
            best = Some((*offer, weight));
        }
    }
    best.map(|(offer, _)| offer)
}

/// A media range of `Accept`.
struct MediaRange {
    /// In small letters, without parameters.
    name: String,
    thousandths: u16,
}

/// Reads a media range. Parameters but for the weight are not looked at.
fn range(text: &str) -> Option<MediaRange> {
    let mut parts = text.split(';').map(str::trim);
    let name = parts.next().filter(|range| range.contains('/'))?.to_ascii_lowercase();
    let weight = parts.find_map(|part| part.strip_prefix("q=").or_else(|| part.strip_prefix("Q=")));
    // A weight that is none counts as nothing said.
    let weight = weight.and_then(|weight| weight.trim().parse::<f64>().ok()).unwrap_or(1.0);
    Some(MediaRange { name, thousandths: (weight.clamp(0.0, 1.0) * 1000.0).round() as u16 })
}

/// The weight that the most exact range gives to an offer.
fn weight(offer: &str, ranges: &[MediaRange]) -> u16 {
    let family = offer.split('/').next().unwrap_or_default();
    let exactness = |range: &str| {
        if range == offer {
            3
        } else if range.strip_suffix("/*") == Some(family) {
            2
        } else {
            u8::from(range == "*/*")
        }
    };
    let fitting = ranges.iter().filter(|range| exactness(&range.name) > 0);
    fitting
        .max_by_key(|range| (exactness(&range.name), range.thousandths))
        .map_or(0, |range| range.thousandths)
}

#[cfg(test)]
mod tests {
    use super::*;

    const OFFERS: [&str; 4] = ["application/json", "text/plain", "text/markdown", "text/csv"];

    #[test]
    fn the_most_exact_range_weighs_and_the_heaviest_offer_wins() {
        for (accept, chosen) in [
            ("", Some("application/json")),
            ("*/*", Some("application/json")),
            ("text/csv", Some("text/csv")),
            ("Text/CSV; charset=utf-8", Some("text/csv")),
            ("text/*", Some("text/plain")),
            ("text/*;q=0.5, text/markdown", Some("text/markdown")),
            ("text/html, application/xhtml+xml, */*;q=0.8", Some("application/json")),
            ("*/*, application/json;q=0", Some("text/plain")),
            ("text/csv;q=0.2, text/plain;q=0.3", Some("text/plain")),
            ("text/csv;q=0, text/plain;Q=0.001", Some("text/plain")),
            ("text/csv;q=0", None),
            ("image/png", None),
            ("text/html", None),
            ("text/csv;q=heavy", Some("text/csv")),
            // A header without any range says nothing.
            ("csv", Some("application/json")),
        ] {
            assert_eq!(best_of(accept, &OFFERS), chosen, "{accept}");
        }
    }
}
