//! Distributions, and shares of failures.

use slowpoint_sim::case::SpreadInput;
use slowpoint_sim::draw::Law;
use slowpoint_sim::flight::Failure;
use slowpoint_sim::limits;

use super::Reader;
use crate::wire::request::*;
use crate::wire::units::Table;

impl Reader<'_> {
    pub(super) fn spread(&mut self, s: &SpreadRequest) -> SpreadInput {
        let mut out = SpreadInput::default();
        s.fill(&mut out, |name, table, middle, law| self.law(law, &format!("/spread/{name}"), table, middle));
        let wind = s.wind.clone().unwrap_or_default();
        out.wind_component_sd_m_s = self.read("/spread/wind/component_sd", &wind.component_sd, None);
        out.wind_growth_m_s_per_h = self.read("/spread/wind/growth_per_hour", &wind.growth_per_hour, None);
        out.wind_direction_sd_rad = self.read("/spread/wind/direction_sd", &wind.direction_sd, None);
        out.wind_correlation_length_m =
            self.read("/spread/wind/correlation_length", &wind.correlation_length, Some(&limits::CORRELATION_LENGTH));
        out.delay_out_of_tolerance_share =
            self.read("/spread/delay_out_of_tolerance_share", &s.delay_out_of_tolerance_share, None);
        if out.delay.is_some() && out.delay_out_of_tolerance_share.is_some() {
            self.faults.add(
                "/spread/delay_out_of_tolerance_share",
                "it does nothing beside spread.delay",
                "give one of the two",
            );
        }
        out
    }

    pub(super) fn failures(&mut self, shares: &FailureShares) -> Vec<(Failure, f64)> {
        let read = |(failure, sent): (Failure, &Option<Share>)| {
            let at = format!("/failures/{}", failure.name());
            Some((failure, self.read(&at, sent, Some(&limits::SHARE))?))
        };
        shares.each().into_iter().filter_map(read).collect()
    }

    pub(super) fn law(&mut self, law: &LawRequest, at: &str, table: &Table, middle: Option<f64>) -> Option<Law> {
        let count = law.count();
        if count != 1 {
            let names = LawRequest::KINDS.join(", ");
            self.faults.add(at, format!("it holds {count} distributions"), format!("give exactly one of {names}"));
            return None;
        }
        let mut number = |name: &str, sent: &Option<LawNumber>| {
            sent.as_ref().map_or(f64::NAN, |n| self.quantity(&format!("{at}/{name}"), &n.0, table, None))
        };
        Some(if let Some(n) = &law.normal {
            let sd = number("normal/sd", &n.sd);
            let mean = self.middle(&format!("{at}/normal/mean"), &n.mean, table, middle);
            Law::Normal { mean, sd }
        } else if let Some(t) = &law.truncated_normal {
            let sd = number("truncated_normal/sd", &t.sd);
            let (low, high) = (number("truncated_normal/low", &t.low), number("truncated_normal/high", &t.high));
            let mean = self.middle(&format!("{at}/truncated_normal/mean"), &t.mean, table, middle);
            Law::TruncatedNormal { mean, sd, low, high }
        } else if let Some(l) = &law.log_normal {
            // An error about zero has no logarithm: only factors have a median of their own.
            let median = self.middle(&format!("{at}/log_normal/median"), &l.median, table, middle.filter(|m| *m > 0.0));
            Law::LogNormal { median, log_sd: self.need(&format!("{at}/log_normal/log_sd"), &l.log_sd, None) }
        } else if let Some(u) = &law.uniform {
            Law::Uniform { low: number("uniform/low", &u.low), high: number("uniform/high", &u.high) }
        } else if let Some(t) = &law.triangular {
            Law::Triangular {
                low: number("triangular/low", &t.low),
                mode: number("triangular/mode", &t.mode),
                high: number("triangular/high", &t.high),
            }
        } else if let Some(values) = &law.sample {
            Law::Sample(
                values
                    .iter()
                    .enumerate()
                    .map(|(i, v)| self.quantity(&format!("{at}/sample/{i}"), &v.0, table, None))
                    .collect(),
            )
        } else {
            Law::Fixed(number("fixed", &law.fixed))
        })
    }

    fn middle(&mut self, at: &str, sent: &Option<LawNumber>, table: &Table, otherwise: Option<f64>) -> f64 {
        match (sent, otherwise) {
            (Some(n), _) => self.quantity(at, &n.0, table, None),
            (None, Some(middle)) => middle,
            (None, None) => {
                self.faults.add(at, "it is missing", "this quantity has no middle to assume: give it");
                f64::NAN
            }
        }
    }
}
