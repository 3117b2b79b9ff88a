//! Which losses a box has, and whether one of them is a leak.
//!
//! ```text
//! evidence = (χ²_tight − χ²_leaky)/ĉ
//! ```
//!
//! χ²: squares left by the best fit without and with leakage, absorption free in both, no loss below zero. ĉ: what the
//! nearest fit leaves over what noise explains. Without a leak the evidence is zero half of the time and else
//! distributed as χ² of one number, so that it passes [`CERTAIN`] once in 700 boxes. Source: H. Chernoff, "On the
//! Distribution of the Likelihood Ratio", Annals of Mathematical Statistics 25 (1954) 573–578 (a parameter at the end
//! of its range).

use super::numbers::Doubt;
use super::search::{Evidence, Fitted};
use super::unknowns::{Foreknowledge, Loss, Unknowns};
use super::{BoxKind, Leak, LeakVerdict};
use crate::driver::{Doubted, inflation};
use crate::math::Effort;

/// Evidence beyond this is no chance.
pub(super) const CERTAIN: f64 = 9.0;
/// A closed box whose leaks have a higher Q_L behaves as an airtight one: at 50 its peak is lower by a tenth or less.
pub(super) const TIGHT_QL: f64 = 50.0;
/// What any vented box loses along its walls and through its gaskets has a Q_L of 5 to 20 (common practice); below ten
/// it is a leak.
const TIGHT_QL_OPEN: f64 = 10.0;
/// One-sided 95 % of a normal distribution.
const ONE_SIDED: f64 = 1.645;
/// Losses are told apart when each is known to this part of all of them.
const APART: f64 = 0.1;
/// Where a loss begins to be searched.
const BEGIN: f64 = 0.01;

/// The fits of one box with all sets of losses that can be.
#[derive(Debug, Clone)]
pub(super) struct Losses {
    /// Those without a loss below zero.
    fits: Vec<Fitted>,
    /// The one with every loss free, whatever their signs.
    free: Fitted,
    /// ĉ.
    pub(super) inflation: f64,
    /// Mean square over what noise explains.
    pub(super) misfit: f64,
}

/// The sets of losses that a kind of box may have, by what is known of its driver.
fn sets(kind: BoxKind, driver: Foreknowledge) -> Vec<Vec<Loss>> {
    use Loss::{Absorption, Leakage, Opening};
    match (kind, driver) {
        // Absorption and friction do the same behind a closed box; beside a vent friction, absorption and the vent's
        // loss do.
        (BoxKind::Closed, Foreknowledge::Nothing) => vec![vec![], vec![Leakage]],
        (BoxKind::Closed, Foreknowledge::Measured) => {
            vec![vec![], vec![Absorption], vec![Leakage], vec![Leakage, Absorption]]
        }
        (_, Foreknowledge::Nothing) => vec![vec![Leakage]],
        _ => vec![vec![Leakage], vec![Absorption, Opening], vec![Leakage, Absorption, Opening]],
    }
}

impl Losses {
    /// From a fit that is near; `None` where nothing fits.
    pub(super) fn tried(evidence: &Evidence, near: &Fitted) -> Option<Self> {
        let all = sets(near.unknowns.kind, near.unknowns.driver).into_iter().filter_map(|losses| {
            let unknowns = Unknowns { losses, ..near.unknowns.clone() };
            let mut begin = near.model;
            let of = &mut begin.enclosure.losses;
            for (loss, value) in [
                (Loss::Leakage, &mut of.leakage),
                (Loss::Absorption, &mut of.absorption),
                (Loss::Opening, &mut of.opening),
            ] {
                if unknowns.at(loss).is_some() && near.unknowns.at(loss).is_none() {
                    *value = BEGIN;
                }
            }
            let jig = near.unknowns.jig(&near.p);
            evidence.nearest(&unknowns, &[unknowns.searched(&begin, jig)], Effort::Good)
        });
        let all: Vec<Fitted> = all.collect();
        let free = all.last()?.clone();
        let fits: Vec<Fitted> = all.into_iter().filter(is_possible).collect();
        let nearest = fits.iter().min_by(|a, b| a.chi_square.total_cmp(&b.chi_square))?;
        let unused = (evidence.numbers(nearest) - nearest.p.len() as f64).max(1.0);
        let misfit = nearest.chi_square / unused;
        let left = evidence.left_over_sigma(nearest);
        let inflation = inflation(&evidence.weighting, &left, misfit, unused);
        Some(Self { fits, free, inflation, misfit })
    }

    /// Twice the logarithm of the likelihood ratio of leaky over airtight.
    pub(super) fn evidence(&self) -> f64 {
        let least = |is_leaky: bool| {
            let fits = self.fits.iter().filter(|fit| fit.unknowns.at(Loss::Leakage).is_some() == is_leaky);
            fits.map(|fit| fit.chi_square).min_by(f64::total_cmp)
        };
        match (least(false), least(true)) {
            (Some(tight), Some(leaky)) => ((tight - leaky) / self.inflation).max(0.0),
            _ => 0.0,
        }
    }

    /// The fit to take. Closed: with leakage when that is certain. Open: with every loss free, since a set that leaves
    /// one out shifts the others and the tuning.
    pub(super) fn chosen(&self) -> Option<&Fitted> {
        if self.free.unknowns.kind != BoxKind::Closed {
            return Some(&self.free);
        }
        let is_certain = self.evidence() > CERTAIN;
        let fits = self.fits.iter().filter(|fit| fit.unknowns.at(Loss::Leakage).is_some() == is_certain);
        fits.min_by(|a, b| a.chi_square.total_cmp(&b.chi_square))
    }

    /// Whether the curve tells each loss for itself, or only all of them together.
    pub(super) fn are_apart(&self, doubt: &Doubt) -> bool {
        let free = &self.free;
        if free.unknowns.kind == BoxKind::Closed {
            return true;
        }
        if free.unknowns.driver == Foreknowledge::Nothing {
            return false;
        }
        let places = free.unknowns.losses.iter().filter_map(|&loss| free.unknowns.at(loss));
        let total: f64 = places.clone().map(|at| free.p[at]).sum();
        places.map(|at| doubt.u(at)).all(|u| u < APART * total)
    }

    /// What the curve says of a leak; `leakage`: its loss factor in the chosen fit; `u_free`: the standard uncertainty
    /// that it has with every loss free.
    pub(super) fn verdict(&self, leakage: Option<Doubted>, u_free: Option<f64>) -> Leak {
        let evidence = self.evidence();
        let limit = match self.free.unknowns.kind {
            BoxKind::Closed => 1.0 / TIGHT_QL,
            _ => 1.0 / TIGHT_QL_OPEN,
        };
        let seen = leakage.filter(|found| evidence > CERTAIN && found.value > 0.0);
        let free = self.free.unknowns.at(Loss::Leakage).map(|at| self.free.p[at].max(0.0));
        let most = match (seen, free, u_free) {
            (Some(found), ..) => Some(found.value + ONE_SIDED * found.u),
            // Without the driver a leak that is not seen has no air to be compared with.
            (None, Some(value), Some(u)) if self.free.unknowns.driver == Foreknowledge::Measured => {
                Some(value + ONE_SIDED * u)
            }
            _ => None,
        };
        let verdict = match (seen, most) {
            (_, Some(most)) if most < limit => LeakVerdict::Airtight,
            (Some(found), _) if found.value > limit => LeakVerdict::Leaky,
            _ => LeakVerdict::Undecided,
        };
        let of_loss = |found: Doubted| Doubted { value: 1.0 / found.value, u: found.u / found.value.powi(2) };
        Leak {
            verdict,
            ql: seen.map(of_loss),
            ql_above: most.filter(|most| *most > 0.0 && verdict != LeakVerdict::Leaky).map(f64::recip),
            evidence,
        }
    }

    /// The fit with every loss free.
    pub(super) fn free(&self) -> &Fitted {
        &self.free
    }
}

fn is_possible(fit: &Fitted) -> bool {
    let losses = fit.model.enclosure.losses;
    [losses.leakage, losses.absorption, losses.opening].into_iter().all(|loss| loss >= 0.0)
}
