//! Agreement of repeated measurements and of two methods: repeatability, limits of agreement, intraclass correlation.

use statrs::distribution::{ChiSquared, ContinuousCDF};

use super::uncertain::coverage_factor;

/// Repeatability of a single measurement.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Repeatability {
    /// Standard deviation of measurements of one and the same thing.
    pub within_sd: f64,
    /// Its degrees of freedom.
    pub freedom: f64,
    /// Interval of 95 % of it, by the chi-squared distribution.
    pub within_sd_95: [f64; 2],
    /// Two single measurements of one thing differ by no more than this in 95 of 100 cases: 1.96 times the root of 2 times
    /// [`Self::within_sd`] (ISO 5725 takes 2.8).
    pub limit: f64,
}

/// Repeatability from the measurements of each thing. `None` when nothing was measured twice, or a value is not finite.
pub fn repeatability(things: &[Vec<f64>]) -> Option<Repeatability> {
    let freedom: usize = things.iter().map(|t| t.len().saturating_sub(1)).sum();
    let squares: f64 = things.iter().map(|t| squares_about_mean(t)).sum();
    if freedom == 0 || !squares.is_finite() {
        return None;
    }
    let freedom = freedom as f64;
    let within_sd = (squares / freedom).sqrt();
    let chi = ChiSquared::new(freedom).ok()?;
    let end = |p: f64| (squares / chi.inverse_cdf(p)).sqrt();
    Some(Repeatability {
        within_sd,
        freedom,
        within_sd_95: [end(0.975), end(0.025)],
        limit: coverage_factor(f64::INFINITY, 0.95) * 2f64.sqrt() * within_sd,
    })
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

fn squares_about_mean(values: &[f64]) -> f64 {
    let mean = mean(values);
    values.iter().map(|v| (v - mean).powi(2)).sum()
}

/// Agreement of two methods or two people (J. M. Bland, D. G. Altman, Lancet 1986;327:307-310).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Agreement {
    /// Number of things measured by both.
    pub pairs: usize,
    /// Mean difference, first less second.
    pub bias: f64,
    /// Its interval of 95 %.
    pub bias_95: [f64; 2],
    /// Standard deviation of the differences between single measurements.
    pub sd: f64,
    /// 95 of 100 differences lie between these: bias -+ 1.96 standard deviations.
    pub limits: [f64; 2],
    /// Standard error of each limit.
    pub limit_se: f64,
}

/// Agreement from the measurements of each thing by the first and by the second. Where one was repeated, its mean is
/// used, and the standard deviation is corrected for the averaging (the same paper). `None` for fewer than three things.
pub fn agreement(things: &[[Vec<f64>; 2]]) -> Option<Agreement> {
    let both: Vec<&[Vec<f64>; 2]> = things.iter().filter(|t| !t[0].is_empty() && !t[1].is_empty()).collect();
    let n = both.len();
    if n < 3 {
        return None;
    }
    let differences: Vec<f64> = both.iter().map(|t| mean(&t[0]) - mean(&t[1])).collect();
    let bias = mean(&differences);
    let of_means = squares_about_mean(&differences) / (n - 1) as f64;
    let averaged_away = |side: usize| {
        let lists: Vec<Vec<f64>> = both.iter().map(|t| t[side].clone()).collect();
        let within = repeatability(&lists).map_or(0.0, |r| r.within_sd.powi(2));
        let part = lists.iter().map(|l| 1.0 - 1.0 / l.len() as f64).sum::<f64>() / n as f64;
        part * within
    };
    let sd = (of_means + averaged_away(0) + averaged_away(1)).sqrt();
    let t = coverage_factor((n - 1) as f64, 0.95);
    let half = t * (of_means / n as f64).sqrt();
    let z = coverage_factor(f64::INFINITY, 0.95);
    sd.is_finite().then_some(Agreement {
        pairs: n,
        bias,
        bias_95: [bias - half, bias + half],
        sd,
        limits: [bias - z * sd, bias + z * sd],
        limit_se: sd * (3.0 / n as f64).sqrt(),
    })
}

/// Intraclass correlations (P. E. Shrout, J. L. Fleiss, Psychological Bulletin 1979;86:420-428).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Intraclass {
    /// One measurement, each thing by other people: ICC(1,1).
    pub one_way: f64,
    /// One measurement, absolute agreement of people who stand for all others: ICC(2,1).
    pub absolute: f64,
    /// One measurement, agreement of these very people apart from a constant difference: ICC(3,1).
    pub consistent: f64,
}

/// Correlations from a table with a row a thing and a column a person. `None` for fewer than two of either, or a table with holes.
pub fn intraclass(rows: &[Vec<f64>]) -> Option<Intraclass> {
    let (n, k) = (rows.len(), rows.first()?.len());
    if n < 2 || k < 2 || rows.iter().any(|r| r.len() != k) {
        return None;
    }
    let (things, people) = (n as f64, k as f64);
    let total = rows.iter().map(|r| mean(r)).sum::<f64>() / things;
    let between = people * rows.iter().map(|r| (mean(r) - total).powi(2)).sum::<f64>();
    let within: f64 = rows.iter().map(|r| squares_about_mean(r)).sum();
    let column = |j: usize| rows.iter().map(|r| r[j]).sum::<f64>() / things;
    let of_people = things * (0..k).map(|j| (column(j) - total).powi(2)).sum::<f64>();
    let bms = between / (things - 1.0);
    let wms = within / (things * (people - 1.0));
    let jms = of_people / (people - 1.0);
    let ems = (within - of_people) / ((things - 1.0) * (people - 1.0));
    let found = Intraclass {
        one_way: (bms - wms) / (bms + (people - 1.0) * wms),
        absolute: (bms - ems) / (bms + (people - 1.0) * ems + people * (jms - ems) / things),
        consistent: (bms - ems) / (bms + (people - 1.0) * ems),
    };
    [found.one_way, found.absolute, found.consistent].iter().all(|v| v.is_finite()).then_some(found)
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    /// Peak expiratory flow, l/min, of 17 people, twice by a Wright meter and twice by a mini one: Bland and Altman 1986,
    /// as stored by the R package blandr.
    const PEFR: [[f64; 4]; 17] = [
        [494.0, 490.0, 512.0, 525.0],
        [395.0, 397.0, 430.0, 415.0],
        [516.0, 512.0, 520.0, 508.0],
        [434.0, 401.0, 428.0, 444.0],
        [476.0, 470.0, 500.0, 500.0],
        [557.0, 611.0, 600.0, 625.0],
        [413.0, 415.0, 364.0, 460.0],
        [442.0, 431.0, 380.0, 390.0],
        [650.0, 638.0, 658.0, 642.0],
        [433.0, 429.0, 445.0, 432.0],
        [417.0, 420.0, 432.0, 420.0],
        [656.0, 633.0, 626.0, 605.0],
        [267.0, 275.0, 260.0, 227.0],
        [478.0, 492.0, 477.0, 467.0],
        [178.0, 165.0, 259.0, 268.0],
        [423.0, 372.0, 350.0, 370.0],
        [427.0, 421.0, 451.0, 443.0],
    ];

    /// Results computed from these data by an independent script, not published, to its digits: of first
    /// readings bias -2.118, standard deviation 38.765, limits -78.097 and 73.862, standard error of a limit 16.285 (the
    /// paper's approximation root(3 s^2 / n)), interval of the bias -22.05 to 17.81.
    #[test]
    fn first_readings_of_both_meters() {
        let pairs: Vec<[Vec<f64>; 2]> = PEFR.iter().map(|r| [vec![r[0]], vec![r[2]]]).collect();
        let a = agreement(&pairs).unwrap();
        assert_relative_eq!(a.bias, -2.118, epsilon = 0.0005);
        assert_relative_eq!(a.sd, 38.765, epsilon = 0.0005);
        assert_relative_eq!(a.limits[0], -78.097, epsilon = 0.002);
        assert_relative_eq!(a.limits[1], 73.862, epsilon = 0.002);
        assert_relative_eq!(a.limit_se, 16.285, epsilon = 0.001);
        assert_relative_eq!(a.bias_95[0], -22.05, epsilon = 0.005);
        assert_relative_eq!(a.bias_95[1], 17.81, epsilon = 0.005);
    }

    /// The same script: within-subject standard deviations 15.307 (Wright) and 19.911 (mini); standard deviation of
    /// differences between single readings, from the means of both, 37.80.
    #[test]
    fn repeated_readings_of_both_meters() {
        let meter = |at: usize| PEFR.iter().map(|r| vec![r[at], r[at + 1]]).collect::<Vec<_>>();
        let [wright, mini] = [0, 2].map(|at| repeatability(&meter(at)).unwrap());
        assert_relative_eq!(wright.within_sd, 15.307, epsilon = 0.0005);
        assert_relative_eq!(mini.within_sd, 19.911, epsilon = 0.0005);
        assert_eq!(wright.freedom, 17.0);
        // The paper's coefficient is 2 root(2) standard deviations; this limit has 1.96 for the 2.
        assert_relative_eq!(wright.limit * 2.0 / 1.959_964, 43.29, epsilon = 0.01);
        let pairs: Vec<[Vec<f64>; 2]> = PEFR.iter().map(|r| [vec![r[0], r[1]], vec![r[2], r[3]]]).collect();
        // By NumPy from the same data. Differences of repeats are counted from 0, since a meter does not know which came
        // first; from their own mean they would give 37.80.
        assert_relative_eq!(agreement(&pairs).unwrap().sd, 37.655, epsilon = 0.0005);
    }

    /// Six targets, four judges: data as stored by the R package psych, results computed from them by an independent
    /// script, not published: ICC(1,1) 0.1657, (2,1) 0.2898, (3,1) 0.7148.
    #[test]
    fn four_judges_of_shrout_and_fleiss() {
        let rows = [
            [9.0, 2.0, 5.0, 8.0],
            [6.0, 1.0, 3.0, 2.0],
            [8.0, 4.0, 6.0, 8.0],
            [7.0, 1.0, 2.0, 6.0],
            [10.0, 5.0, 6.0, 9.0],
            [6.0, 2.0, 4.0, 7.0],
        ];
        let icc = intraclass(&rows.map(|r| r.to_vec())).unwrap();
        assert_relative_eq!(icc.one_way, 0.1657, epsilon = 5e-5);
        assert_relative_eq!(icc.absolute, 0.2898, epsilon = 5e-5);
        assert_relative_eq!(icc.consistent, 0.7148, epsilon = 5e-5);
    }

    #[test]
    fn nothing_measured_twice_says_nothing() {
        assert_eq!(repeatability(&[vec![1.0], vec![2.0]]), None);
        assert_eq!(repeatability(&[vec![1.0, f64::NAN]]), None);
        assert_eq!(agreement(&[[vec![1.0], vec![2.0]], [vec![1.0], vec![]], [vec![1.0], vec![3.0]]]), None);
        assert_eq!(intraclass(&[vec![1.0, 2.0], vec![1.0]]), None);
    }
}
