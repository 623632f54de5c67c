//! Random numbers that can be looked up in any order.
//!
//! A [`Stream`] is a key. Its numbers are a hash of key and counter, so each is available without the earlier ones.
//! The hash is SplitMix64 (Steele, Lea & Flood 2014, "Fast splittable pseudorandom number generators", OOPSLA, doi
//! 10.1145/2660193.2660195). A counter in steps of the golden ratio goes through the finaliser with Stafford's
//! constants (variant 13). Keys of streams are hashed words as well. So two streams share a stretch of counters only
//! about as often as two random 64-bit words are close.

/// 2^64 over the golden ratio, made odd: the step of the counter.
const STEP: u64 = 0x9E37_79B9_7F4A_7C15;

/// The finaliser: every bit of the input reaches every bit of the output.
const fn mix(z: u64) -> u64 {
    let z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    let z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    z ^ (z >> 31)
}

/// A sequence of random words that can be read at any place.
#[derive(Debug, Clone, Copy)]
pub(super) struct Stream(u64);

impl Stream {
    /// The stream from which all others derive.
    pub(super) const fn of_seed(seed: u64) -> Stream {
        Stream(mix(seed.wrapping_add(STEP)))
    }

    /// The stream of a number: a path, a purpose or a day.
    pub(super) const fn of(self, number: u64) -> Stream {
        Stream(self.word(number))
    }

    const fn word(self, counter: u64) -> u64 {
        mix(self.0.wrapping_add(counter.wrapping_add(1).wrapping_mul(STEP)))
    }

    /// Uniform between 0 and 1, never reaching either.
    pub(super) fn uniform(self, counter: u64) -> f64 {
        const UNIT: f64 = 1.0 / (1_u64 << 52) as f64;
        // 52 bits and a half: with 53 bits the largest would round to 1.
        ((self.word(counter) >> 12) as f64 + 0.5) * UNIT
    }

    /// Standard normal, by inversion. It grows with the uniform number behind it and uses one of them.
    pub(super) fn normal(self, counter: u64) -> f64 {
        normal_quantile(self.uniform(counter))
    }
}

/// A polynomial of degree seven, constant first, in pairs that need not wait for one another.
fn polynomial(a: &[f64; 8], x: f64) -> f64 {
    let (x2, low, high) = (x * x, a[0] + a[1] * x, a[4] + a[5] * x);
    (low + (a[2] + a[3] * x) * x2) + (high + (a[6] + a[7] * x) * x2) * (x2 * x2)
}

/// The z under which a standard normal number lies with chance `p`, above 0 and below 1.
///
/// Wichura 1988, algorithm AS 241 (PPND16), Applied Statistics 37:477: ratios of polynomials, about 16 digits. The
/// inverse error function of `statrs` gives the same and takes five times as long.
fn normal_quantile(p: f64) -> f64 {
    let q = p - 0.5;
    if q.abs() <= 0.425 {
        let r = 0.180_625 - q * q;
        return q * polynomial(&MIDDLE.0, r) / polynomial(&MIDDLE.1, r);
    }
    let r = (-p.min(1.0 - p).ln()).sqrt();
    let z = if r <= 5.0 {
        polynomial(&SIDE.0, r - 1.6) / polynomial(&SIDE.1, r - 1.6)
    } else {
        polynomial(&TAIL.0, r - 5.0) / polynomial(&TAIL.1, r - 5.0)
    };
    z.copysign(q)
}

static MIDDLE: ([f64; 8], [f64; 8]) = (
    [
        3.387_132_872_796_366_5,
        1.331_416_678_917_843_8e2,
        1.971_590_950_306_551_3e3,
        1.373_169_376_550_946e4,
        4.592_195_393_154_987e4,
        6.726_577_092_700_87e4,
        3.343_057_558_358_813e4,
        2.509_080_928_730_122_7e3,
    ],
    [
        1.0,
        4.231_333_070_160_091e1,
        6.871_870_074_920_579e2,
        5.394_196_021_424_751e3,
        2.121_379_430_158_659_7e4,
        3.930_789_580_009_271e4,
        2.872_908_573_572_194_3e4,
        5.226_495_278_852_854e3,
    ],
);

static SIDE: ([f64; 8], [f64; 8]) = (
    [
        1.423_437_110_749_683_5,
        4.630_337_846_156_546,
        5.769_497_221_460_691,
        3.647_848_324_763_204_5,
        1.270_458_252_452_368_4,
        2.417_807_251_774_506e-1,
        2.272_384_498_926_918_4e-2,
        7.745_450_142_783_414e-4,
    ],
    [
        1.0,
        2.053_191_626_637_759,
        1.676_384_830_183_803_8,
        6.897_673_349_851e-1,
        1.481_039_764_274_800_8e-1,
        1.519_866_656_361_645_7e-2,
        5.475_938_084_995_345e-4,
        1.050_750_071_644_416_9e-9,
    ],
);

static TAIL: ([f64; 8], [f64; 8]) = (
    [
        6.657_904_643_501_103,
        5.463_784_911_164_114,
        1.784_826_539_917_291_3,
        2.965_605_718_285_048_7e-1,
        2.653_218_952_657_612_4e-2,
        1.242_660_947_388_078_4e-3,
        2.711_555_568_743_487_6e-5,
        2.010_334_399_292_288e-7,
    ],
    [
        1.0,
        5.998_322_065_558_88e-1,
        1.369_298_809_227_358e-1,
        1.487_536_129_085_061_5e-2,
        7.868_691_311_456_133e-4,
        1.846_318_317_510_054_8e-5,
        1.421_511_758_316_445_8e-7,
        2.044_263_103_389_939_8e-15,
    ],
);

#[cfg(test)]
mod tests {
    use super::*;
    use statrs::function::erf::erfc_inv;

    /// The first words of SplitMix64 from seed 1234567, as the public-domain reference implementation prints them.
    #[test]
    fn words_are_those_of_the_reference() {
        let stream = Stream(1_234_567);
        let words: Vec<u64> = (0..5).map(|i| stream.word(i)).collect();
        let reference = [
            6_457_827_717_110_365_317,
            3_203_168_211_198_807_973,
            9_817_491_932_198_370_423,
            4_593_380_528_125_082_431,
            16_408_922_859_458_223_821,
        ];
        assert_eq!(words, reference);
    }

    /// Compared with another method, out into both tails.
    #[test]
    fn normal_quantiles() {
        let check = |p: f64| {
            let z = -std::f64::consts::SQRT_2 * erfc_inv(2.0 * p);
            let ours = normal_quantile(p);
            assert!((ours - z).abs() <= 2e-15 * z.abs().max(1.0), "{p}: {ours} {z}");
        };
        for i in 1..20_000 {
            check(f64::from(i) / 20_000.0);
        }
        for i in 1..=52 {
            check(0.5_f64.powi(i));
        }
        // 0.975 by hand: 1.959963984540054.
        assert!((normal_quantile(0.975) - 1.959_963_984_540_054).abs() < 1e-15);
    }

    #[test]
    fn a_uniform_number_is_never_0_or_1() {
        assert!((0.5 / (1_u64 << 52) as f64) > 0.0);
        let stream = Stream::of_seed(5);
        assert!((0..10_000).all(|i| stream.uniform(i) > 0.0 && stream.uniform(i) < 1.0));
    }

    /// Counts in 64 equal cells, for neighbouring counters, paths and seeds. Chi-square with 63 degrees of freedom
    /// stays under its 99.99 % point, 113.
    #[test]
    fn neighbours_of_every_kind_are_even() {
        let seed = |i| Stream::of_seed(i).of(3).of(1).uniform(7);
        let path = |i| Stream::of_seed(9).of(i).of(1).uniform(7);
        let day = |i| Stream::of_seed(9).of(3).of(1).uniform(i);
        let kinds: [&dyn Fn(u64) -> f64; 3] = [&seed, &path, &day];
        for one in kinds {
            let mut cells = [0.0_f64; 64];
            let mut pairs = [0.0_f64; 64];
            let mut before = one(0);
            for i in 1..=64_000 {
                let u = one(i);
                cells[(u * 64.0) as usize] += 1.0;
                pairs[(before * 8.0) as usize * 8 + (u * 8.0) as usize] += 1.0;
                before = u;
            }
            for counts in [cells, pairs] {
                let chi2: f64 = counts.iter().map(|n| (n - 1000.0) * (n - 1000.0) / 1000.0).sum();
                assert!(chi2 < 113.0, "{chi2}");
            }
        }
    }
}
