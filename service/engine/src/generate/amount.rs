//! Rain of a wet day.

use super::random::Stream;

/// Tries before a day takes the mean. Each try fails at most one time in twenty.
const MOST_TRIES: u64 = 32;

/// A gamma law by Marsaglia & Tsang 2000, "A simple method for generating gamma variables", ACM Transactions on
/// Mathematical Software 26:363.
///
/// It cubes a normal number and accepts it or tries again. A shape under 1 is raised by 1 for the draw, which is then
/// multiplied by a uniform number to the power 1/shape.
#[derive(Debug, Clone, Copy)]
pub(super) struct Amount {
    /// Shape, raised to 1 or more, less a third.
    d: f64,
    /// 1 / sqrt(9 d).
    c: f64,
    /// Power of the uniform number, 0 when none is used.
    power: f64,
    /// Scale, mm.
    scale: f64,
}

impl Amount {
    /// The law with this mean in mm and squared coefficient of variation.
    pub(super) fn new(mean_mm: f64, cv2: f64) -> Amount {
        let shape = 1.0 / cv2;
        let raised = if shape < 1.0 { shape + 1.0 } else { shape };
        let d = raised - 1.0 / 3.0;
        Amount {
            d,
            c: 1.0 / (9.0 * d).sqrt(),
            power: if shape < 1.0 { cv2 } else { 0.0 },
            scale: mean_mm * cv2,
        }
    }

    /// An amount in mm. Each amount needs a stream of its own.
    pub(super) fn draw(&self, stream: Stream) -> f64 {
        let lowered = if self.power > 0.0 { (stream.uniform(0).ln() * self.power).exp() } else { 1.0 };
        for attempt in 0..MOST_TRIES {
            let z = stream.normal(2 * attempt + 1);
            let root = 1.0 + self.c * z;
            if root <= 0.0 {
                continue;
            }
            let v = root * root * root;
            let u = stream.uniform(2 * attempt + 2);
            let z2 = z * z;
            if u < 1.0 - 0.0331 * z2 * z2 || u.ln() < 0.5 * z2 + self.d * (1.0 - v + v.ln()) {
                return self.scale * self.d * v * lowered;
            }
        }
        self.scale * (self.d + 1.0 / 3.0) * lowered
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::special::gamma_below;

    /// Kolmogorov's distance from the law stays under its 99.99 % point 2.23 / sqrt(n) (Kolmogorov 1933).
    #[test]
    fn amounts_follow_the_gamma_law() {
        const N: usize = 40_000;
        for cv2 in [0.05, 0.5, 1.0, 1.0 / 0.75, 3.28, 20.0] {
            let amount = Amount::new(6.0, cv2);
            let days = Stream::of_seed(11).of(2);
            let mut drawn: Vec<f64> = (0..N as u64).map(|i| amount.draw(days.of(i))).collect();
            drawn.sort_by(f64::total_cmp);
            let furthest = drawn.iter().enumerate().fold(0.0_f64, |most, (i, x)| {
                let law = gamma_below(1.0 / cv2, x / (6.0 * cv2)).unwrap();
                let (low, high) = (i as f64 / N as f64, (i + 1) as f64 / N as f64);
                most.max((law - low).abs()).max((law - high).abs())
            });
            assert!(furthest < 2.23 / (N as f64).sqrt(), "cv2 {cv2}: {furthest}");
        }
    }

    #[test]
    fn no_rain_stays_no_rain() {
        let stream = Stream::of_seed(1);
        assert_eq!(Amount::new(0.0, 1.3).draw(stream), 0.0);
    }
}
