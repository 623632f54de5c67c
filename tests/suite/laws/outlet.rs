//! The limit of a tank's sediment under an outlet of any height.

use eavesward_engine::limit::{LOW_OUTLET_MM, USUAL_SEDIMENT_MM, tank_sediment};

/// Sediment never stands above the outlet without a date, a higher outlet never brings the date forward, and a
/// millimetre of outlet never moves the limit by more than a millimetre.
#[test]
fn sediment_stays_below_the_outlet() {
    let limit = |height: f64| tank_sediment(USUAL_SEDIMENT_MM, Some(height)).limit.median;
    for tenths in 0..3000 {
        let (low, high) = (f64::from(tenths) / 10.0, f64::from(tenths + 1) / 10.0);
        let grown = limit(high) - limit(low);
        assert!((-1e-9..=0.1 + 1e-9).contains(&grown), "{low}: {grown}");
        // A film of 1 mm is the least that anybody can find.
        assert!(limit(low) <= low.max(1.0), "{low}");
    }
    assert_eq!((limit(LOW_OUTLET_MM), limit(100.0), limit(500.0)), (10.0, 50.0, 50.0));
}
