//! One finding's update of a rate, plain and robust.

use super::finding::Evidence;
use super::rate::Rate;
use super::tail::{cut, ln_density};

/// Share of findings that count as wild: wrong tank, unrecorded cleaning, slip of the pen. Judgement.
pub const WILD_SHARE: f64 = 0.15;

/// Log-sd of a wild finding. Judgement: such a finding may easily be off by a factor of three.
pub const WILD_LOG_SD: f64 = 1.2;

/// A rate after a finding that may have been wild.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Update {
    /// The rate after the finding.
    pub rate: Rate,
    /// How much the finding counted, 0 to 1: the share of the variance that it would remove.
    ///
    /// That share is averaged over a sound and a wild finding, by their chances. At 0 it changed nothing. At 0.5 a
    /// sound reading counts as much as the whole earlier belief. At 1 nothing of the earlier belief would be left. A
    /// wild finding counts for little, but never for nothing.
    pub weight: f64,
    /// Chance, 0 to 1, that the finding is wild.
    pub wild: f64,
}

impl Rate {
    /// The rate after a finding that is sound for certain.
    pub fn updated(self, evidence: &Evidence) -> Rate {
        let posterior = Posterior::of(self, evidence, evidence.log_sd);
        Rate { mean: posterior.mean, sd: posterior.variance.sqrt() }
    }

    /// The rate after a finding that may be wild, without the bound that [`learn`](super::learn) sets.
    pub fn updated_robustly(self, evidence: &Evidence) -> Update {
        let sound = Posterior::of(self, evidence, evidence.log_sd);
        let wild = Posterior::of(self, evidence, evidence.log_sd.max(WILD_LOG_SD));
        // Differences of logarithms: far out both probabilities underflow, but their ratio does not.
        let odds = (sound.ln_chance - wild.ln_chance).exp() * ((1.0 - WILD_SHARE) / WILD_SHARE);
        let (p_sound, p_wild) =
            if odds.is_finite() { (odds / (1.0 + odds), 1.0 / (1.0 + odds)) } else { (1.0, 0.0) };
        let apart = sound.mean - wild.mean;
        let variance = p_sound * sound.variance + p_wild * wild.variance + p_sound * p_wild * apart * apart;
        Update {
            rate: Rate { mean: p_sound * sound.mean + p_wild * wild.mean, sd: variance.sqrt() },
            weight: p_sound * sound.taken + p_wild * wild.taken,
            wild: p_wild,
        }
    }
}

/// A rate after a finding with one known error.
struct Posterior {
    mean: f64,
    variance: f64,
    /// Share of the variance that the finding removed.
    taken: f64,
    /// Natural logarithm of the chance of the finding, or of its density for a reading.
    ln_chance: f64,
}

impl Posterior {
    fn of(prior: Rate, evidence: &Evidence, log_sd: f64) -> Posterior {
        let own = prior.sd * prior.sd;
        let total = own + log_sd * log_sd + evidence.exposure_cv * evidence.exposure_cv;
        let spread = total.sqrt();
        let gain = own / total;
        let low = (evidence.from - prior.mean) / spread;
        let high = (evidence.to - prior.mean) / spread;
        let (mean, taken, ln_chance) = if evidence.from == evidence.to {
            (low, gain, ln_density(low) - spread.ln())
        } else {
            let cut = cut(low, high);
            (cut.mean, gain * cut.lost, cut.ln_share)
        };
        Posterior { mean: prior.mean + gain * spread * mean, variance: own * (1.0 - taken), taken, ln_chance }
    }
}
