//! How far places are from each other, and which are near enough to share a trip.

use crate::domain::model::property::{EARTH_KM, Position};
use crate::domain::rules::rounds::problem::Near;

/// Which places are within this many km of each other; none if the distance is 0.
pub fn near(positions: &[Position], km: f64) -> Near {
    let mut near = Near::none(positions.len());
    if km <= 0.0 {
        return near;
    }
    let mut by_latitude: Vec<usize> = (0..positions.len()).collect();
    by_latitude.sort_by(|one, other| positions[*one].latitude_deg.total_cmp(&positions[*other].latitude_deg));
    // A place that is further north by more than the distance is too far away. The factor allows for rounding.
    let reach_deg = (km / EARTH_KM).to_degrees() * 1.000_001;
    for (index, one) in by_latitude.iter().enumerate() {
        let north = positions[*one].latitude_deg + reach_deg;
        for other in
            by_latitude[index + 1..].iter().take_while(|other| positions[**other].latitude_deg <= north)
        {
            if positions[*one].km_to(positions[*other]) <= km {
                near.join(*one, *other);
            }
        }
    }
    near
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn distances_are_those_of_a_sphere() {
        let at = |latitude_deg, longitude_deg| Position { latitude_deg, longitude_deg };
        // A degree of a great circle is a 360th of its length.
        let degree = std::f64::consts::TAU * EARTH_KM / 360.0;
        assert!((at(0.0, 0.0).km_to(at(1.0, 0.0)) - degree).abs() < 1e-9);
        assert!((at(0.0, 179.5).km_to(at(0.0, -179.5)) - degree).abs() < 1e-9, "over the date line");
        assert!((at(60.0, 10.0).km_to(at(60.0, 11.0)) / (degree / 2.0) - 1.0).abs() < 1e-3);
        assert!((at(90.0, 0.0).km_to(at(-90.0, 77.0)) - degree * 180.0).abs() < 1e-6);
        assert_eq!(at(48.0, 0.5).km_to(at(48.0, 0.5)), 0.0);
    }

    #[test]
    fn near_is_what_lies_within_the_distance_and_goes_both_ways() {
        let at = |latitude_deg, longitude_deg| Position { latitude_deg, longitude_deg };
        let places = [at(48.0, 0.5), at(48.02, 0.5), at(48.0, 0.53), at(49.0, 0.5)];
        let near = near(&places, 3.0);
        for (one, from) in places.iter().enumerate() {
            for (other, to) in places.iter().enumerate() {
                let expected = one == other || from.km_to(*to) <= 3.0;
                assert_eq!(near.both(one, other), expected, "{one} {other}");
            }
        }
        assert_eq!((near.of(0), near.of(3)), (&[1, 2][..], &[][..]));
        assert_eq!(super::near(&places, 0.0), Near::none(4));
    }
}
