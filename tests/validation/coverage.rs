//! Honest statistics: how often the intervals of a whole answer hold the true chance, with stand-in flights whose
//! chance is exact and, in small, with real ones.

use std::fmt::{self, Display, Formatter};
use std::sync::OnceLock;

use slowpoint_sim::draw::PointSet;
use slowpoint_sim::stat::interval::{CLOPPER_PEARSON, Chance, Estimator as Estimated, Interval, clopper_pearson};
use slowpoint_sim::stat::normal;
use slowpoint_tests::coverage::{
    COVERED_LEAST, COVERED_MOST, Cell, Claims, EVENTS, Estimator, KINDS, WIDTH_MOST, answers, anywhere, areas,
    as_reported, claims, corner_cells, nearly_alike, real_cells, stand_in_cells, stand_in_chances, truth, until_cells,
    until_chances, whole_law_cells, whole_law_chances, whole_law_claims, width_of_few_flights,
};
use slowpoint_tests::rockets;
use slowpoint_tests::sheet::{Sheet, Trust};

slowpoint_tests::subject! { "Coverage of the intervals":
    cov_1_stand_ins,
    cov_2_corners,
    cov_3_wrong_intervals,
    cov_4_no_hit,
    cov_5_best_is_sure,
    cov_6_real_flights,
    cov_7_whole_law,
    cov_8_best_is_sure_of_the_law,
    cov_9_until,
}

const PROMISE: &str = "at least 93 % of 95 % intervals hold the true chance, but for flights all alike among which some \
    seven of chance 1 are expected; where hits and misses are both expected to number 50 or more, at most 97.5 % if their \
    number strays by as much as two flights that nobody saw could move it, and else none is wider on the average than where \
    it does; where they are fewer none is wider than 1.5 times Clopper and Pearson's for the same count";
const SEEDS: u64 = 1000;
const THOUSAND_SEEDS: &str = "the promise; where the true coverage is 95 % the share of a thousand seeds strays by \
    0.7 %, so that both bounds lie three such strays away";

/// Chances of the stand-in from 1000 flights of each seed, which several cases look at.
fn thousand(points: PointSet) -> &'static [Vec<Vec<Chance>>] {
    static SOBOL: OnceLock<Vec<Vec<Vec<Chance>>>> = OnceLock::new();
    static PSEUDORANDOM: OnceLock<Vec<Vec<Vec<Chance>>>> = OnceLock::new();
    let kept = if points == PointSet::Sobol { &SOBOL } else { &PSEUDORANDOM };
    kept.get_or_init(|| stand_in_chances(points, 1000, 0..SEEDS))
}

fn percent(share: f64) -> f64 {
    100.0 * share
}

/// The one of several cells that a row shows.
struct Worst<'a> {
    of: usize,
    cell: &'a Cell,
}

impl Display for Worst<'_> {
    fn fmt(&self, f: &mut Formatter) -> fmt::Result {
        // The chances of real flights are shares of 65,536.
        let chance = format!("{:.4}", self.cell.truth);
        let chance = chance.trim_end_matches('0');
        write!(f, "worst of {}: {}, p {chance}, {} flights", self.of, self.cell.what, self.cell.flights)
    }
}

/// The cell with the largest figure among those that count; one that is no number is larger than any.
fn farthest(cells: &[Cell], counts: impl Fn(&Cell) -> bool, figure: fn(&Cell) -> f64) -> Option<Worst<'_>> {
    let size = |cell: &Cell| match figure(cell) {
        x if x.is_nan() => f64::INFINITY,
        x => x,
    };
    let among: Vec<&Cell> = cells.iter().filter(|c| counts(c)).collect();
    let worst = among.iter().max_by(|a, b| size(a).total_cmp(&size(b)));
    worst.map(|cell| Worst { of: among.len(), cell })
}

fn least_covered(cells: &[Cell]) -> Option<Worst<'_>> {
    farthest(cells, |_| true, |c| -c.share())
}

fn most_covered_of_many(cells: &[Cell]) -> Option<Worst<'_>> {
    farthest(cells, |c| c.has_many() && c.has_spread(), Cell::share)
}

/// In flights.
fn widest_of_little_spread(cells: &[Cell]) -> Option<Worst<'_>> {
    farthest(cells, |c| c.has_many() && !c.has_spread(), width_in_flights)
}

fn width_in_flights(cell: &Cell) -> f64 {
    cell.width * cell.flights as f64
}

fn widest_of_few(cells: &[Cell]) -> Option<Worst<'_>> {
    farthest(cells, |c| !c.has_many(), |c| c.widest)
}

const COVERED: &str = "share covered, %";
const COVERED_OF_MANY: &str = "share covered where hits are many, %";
const WIDTH_OF_LITTLE: &str = "mean width in flights where hits are many and hardly stray";
const WIDTH_OF_FEW: &str = "widest over Clopper and Pearson's where hits are few";

/// A row for each bound of the promise that counts for some of the cells.
fn keeps(sheet: &mut Sheet, cells: &[Cell]) {
    if let Some(w) = least_covered(cells) {
        sheet.at_least(format!("{COVERED}, {w}"), percent(w.cell.share()), percent(COVERED_LEAST));
    }
    if let Some(w) = most_covered_of_many(cells) {
        sheet.at_most(format!("{COVERED_OF_MANY}, {w}"), percent(w.cell.share()), percent(COVERED_MOST));
    }
    if let Some(w) = widest_of_little_spread(cells) {
        sheet.at_most(format!("{WIDTH_OF_LITTLE}, {w}"), width_in_flights(w.cell), width_of_few_flights());
    }
    if let Some(w) = widest_of_few(cells) {
        sheet.at_most(format!("{WIDTH_OF_FEW}, {w}"), w.cell.widest, WIDTH_MOST);
    }
}

fn cov_1_stand_ins() -> Sheet {
    let mut sheet = Sheet::new(
        "COV-1",
        "what 95 % intervals hold of a stand-in for a flight whose chance is exact: two events, 1000 and 5000 flights \
        over 1000 seeds, 2000 flights over 2000",
        Trust::Statement,
        PROMISE,
    );
    for points in KINDS {
        let (mut cells, mut other) = (Vec::new(), 0);
        for (flights, seeds) in [(1000, SEEDS), (2000, 2 * SEEDS), (5000, SEEDS)] {
            let more;
            let found = if flights == 1000 {
                thousand(points)
            } else {
                more = stand_in_chances(points, flights, 0..seeds);
                &more
            };
            for chance in found.iter().flatten().flatten() {
                let another_method = points == PointSet::Pseudorandom && chance.method != CLOPPER_PEARSON;
                other += usize::from(chance.flights != flights || another_method);
            }
            cells.extend(stand_in_cells(found, points, as_reported));
        }
        cells.sort_by(|a, b| b.truth.total_cmp(&a.truth));
        sheet.because(THOUSAND_SEEDS);
        for cells in cells.chunk_by(|a, b| a.truth == b.truth) {
            keeps(&mut sheet, cells);
        }
        let one_sided: Vec<Cell> = cells.into_iter().filter(|c| c.what.starts_with(EVENTS[0])).collect();
        sheet.because(
            "kept by an event with one side in 2000 flights; not promised where hits are many, and single seeds of an \
            event with two sides, or of 5000 flights, go beyond",
        );
        for cells in one_sided.chunk_by(|a, b| a.truth == b.truth) {
            if let Some(w) = farthest(cells, |c| c.has_many() && c.flights == 2000, |c| c.widest) {
                let name = format!("widest over Clopper and Pearson's where hits are many, {w}");
                sheet.at_most(name, w.cell.widest, WIDTH_MOST);
            }
        }
        sheet.equal(format!("{points:?}: intervals of another size or method"), other, 0);
        if points == PointSet::Sobol {
            sheet.because("points more even than chance must be worth something where hits are many");
            if let Some(w) = farthest(&one_sided, |c| c.truth == 0.5, |c| c.ratio) {
                sheet.less_than(format!("mean width over Clopper and Pearson's, {w}"), w.cell.ratio, 0.8);
            }
        }
    }
    sheet
}

/// Rare events in a corner of two or three inputs, every pair and triple of sixteen: where the points of two inputs
/// avoid each other badly, hits come in bunches, and the interval has to know.
fn cov_2_corners() -> Sheet {
    let mut sheet = Sheet::new(
        "COV-2",
        "events of chance 0.01 where two or three inputs are all near an end of their range, every pair and triple of \
        sixteen inputs, 2000 flights of Sobol points over 1000 seeds",
        Trust::Statement,
        PROMISE,
    );
    sheet.because(THOUSAND_SEEDS);
    let cells = corner_cells(PointSet::Sobol, 2000, 0.01, 0..SEEDS);
    keeps(&mut sheet, &cells);
    sheet
}

const HALF: &str = "half the width";
const NORMAL: &str = "the textbook's normal interval";
const EXACT: &str = "Clopper and Pearson's, as if every flight stood alone";
const TRIPLE: &str = "three times the width";

/// Half as wide.
fn halved(found: &Chance) -> Interval {
    Interval { lower: 0.5 * (found.estimate + found.lower), upper: 0.5 * (found.estimate + found.upper) }
}

/// As if every flight stood alone: the textbook's normal interval, blind to what the replicates tell.
fn textbook(found: &Chance) -> Interval {
    let half = normal::quantile(0.975) * (found.estimate * (1.0 - found.estimate) / found.flights as f64).sqrt();
    Interval { lower: found.estimate - half, upper: found.estimate + half }
}

/// As if every flight stood alone, exact.
fn raw(found: &Chance) -> Interval {
    clopper_pearson(found.hits as u64, found.flights, 0.95)
}

/// Three times as wide.
fn tripled(found: &Chance) -> Interval {
    Interval {
        lower: found.estimate - 3.0 * (found.estimate - found.lower),
        upper: found.estimate + 3.0 * (found.upper - found.estimate),
    }
}

/// Too narrow ones and the textbook's at rare events are found out by coverage, those that waste the evenness of Sobol
/// points by too much of it, and wide ones by width.
fn cov_3_wrong_intervals() -> Sheet {
    let mut sheet = Sheet::new(
        "COV-3",
        "intervals that are wrong on purpose are found out, 1000 flights over 1000 seeds of the stand-in",
        Trust::Statement,
        PROMISE,
    );
    sheet.because("the bound of the promise, from its other side");
    for points in KINDS {
        let cells = |wrong: Estimator| stand_in_cells(thousand(points), points, wrong);
        let [half, normal, exact, triple] = [halved, textbook, raw, tripled].map(cells);
        for (name, cells) in [(HALF, &half), (NORMAL, &normal)] {
            let w = least_covered(cells).unwrap_or_else(|| panic!("no cells"));
            sheet.less_than(format!("{name}: {COVERED}, {w}"), percent(w.cell.share()), percent(COVERED_LEAST));
        }
        let w = widest_of_few(&triple).unwrap_or_else(|| panic!("one hit is few"));
        sheet.more_than(format!("{TRIPLE}: {WIDTH_OF_FEW}, {w}"), w.cell.widest, WIDTH_MOST);
        let blind = [(EXACT, &exact), (NORMAL, &normal)];
        let wasteful = if points == PointSet::Sobol { &blind[..] } else { &[] };
        for (name, cells) in [(TRIPLE, &triple)].iter().chain(wasteful) {
            let w = most_covered_of_many(cells).unwrap_or_else(|| panic!("five hundred hits are many"));
            let name = format!("{name}: {COVERED_OF_MANY}, {w}");
            sheet.more_than(name, percent(w.cell.share()), percent(COVERED_MOST));
        }
    }
    sheet
}

fn cov_4_no_hit() -> Sheet {
    let mut sheet = Sheet::new(
        "COV-4",
        "no hit in 1000 flights at a true chance of 0.001, two events over 200 seeds of the stand-in",
        Trust::B,
        "upper end 1 - 0.025^(1/1000) = 0.003682 (two-sided after Clopper and Pearson, 3.69/N; the one-sided \"rule of \
        three\" would be 0.0029912); exp(-1) of the seeds see none where flights are independent",
    );
    for points in KINDS {
        let none: Vec<&Chance> =
            thousand(points)[..200].iter().flatten().map(|event| &event[3]).filter(|c| c.hits == 0.0).collect();
        sheet.because("400 counts of independent flights stray by 2.4 %, of which four; points more even than chance see none less \
            often");
        let share = none.len() as f64 / 400.0;
        sheet.close(format!("{points:?}: share of counts without a hit"), share, libm::exp(-1.0), 0.1);
        let plain = |c: &Chance| (c.estimate, c.lower, c.method) == (0.0, 0.0, CLOPPER_PEARSON);
        let other = none.iter().filter(|c| !plain(c)).count();
        sheet.equal(
            format!("{points:?}: intervals that do not begin at 0, or are not Clopper and Pearson's"),
            other,
            0,
        );
        sheet.because("half a unit of the last printed digit is 1.4e-4 of it");
        let ends = none.iter().enumerate().map(|(k, c)| (format!("number {}", k + 1), c.upper, 0.003_682));
        sheet.all_close(&format!("{points:?}: upper end"), ends, 2e-4 * 0.003_682);
    }
    sheet
}

fn cov_5_best_is_sure() -> Sheet {
    let mut sheet = Sheet::new(
        "COV-5",
        "claims that a delay has the lowest chance, of three whose order is known, 1000 flights over 400 seeds",
        Trust::Statement,
        CLAIM,
    );
    for points in KINDS {
        judge(&mut sheet, points, claims(points, 1000, 0..400, nearly_alike), claims(points, 1000, 0..400, anywhere));
    }
    sheet
}

const CLAIM: &str = "a claim of 95 % certainty is wrong in one run of twenty at most, even of two delays nearly alike, and over \
    delays of any order 95 % of such claims are right";

/// Rows about claims where two delays are nearly alike, and of any three.
fn judge(sheet: &mut Sheet, points: PointSet, hard: Claims, usual: Claims) {
    let stated = |c: &Claims| format!("sure to {:.1} % on the average, sure {} times", percent(c.stated), c.sure);
    let wrong = (hard.sure - hard.sure_and_right) as f64 / hard.seeds as f64;
    sheet.because("5 % and three standard deviations of a share over 400 seeds, 3.3 %");
    let name = format!("{points:?}, two nearly alike: runs that are sure and wrong, %, {}", stated(&hard));
    sheet.at_most(name, percent(wrong), percent(0.05 + 0.033));
    sheet.because("the claim is made often enough to be judged");
    sheet.more_than(format!("{points:?}, any three: runs that are sure"), usual.sure as f64, 100.0);
    let right = usual.sure_and_right as f64 / usual.sure as f64;
    sheet.because("95 % less three standard deviations of a share of some 200 claims, 4.6 %");
    let name = format!("{points:?}, any three: share of such claims that is right, %, {}", stated(&usual));
    sheet.at_least(name, percent(right), percent(0.95 - 0.046));
}

fn cov_6_real_flights() -> Sheet {
    let mut sheet = Sheet::new(
        "COV-6",
        "real flights of the 20 g rocket in small: two delays, four chances each, 256 flights over 128 seeds against \
        65,536 other flights; where the other flights come down",
        Trust::Statement,
        "the promise of COV-1, but for the 97.5 % that so few seeds cannot break; an area holds the share that the answer says",
    );
    const SEEDS: u64 = 128;
    const NAME: &str = "20 g";
    let mut inputs = rockets::paper();
    inputs.question.ways = vec![rockets::delay(2.0), rockets::delay(4.0)];
    let known = truth(&inputs, 4, 16_384);
    for points in KINDS {
        let found = answers(&inputs, &known, points, 256, 0..SEEDS);
        let held = real_cells(NAME, &known, points, &found, as_reported);
        let blur = held.iter().map(|(cell, limit)| limit.error / cell.width);
        sheet.because("the truth has to be known far better than the intervals are wide");
        let name = format!("{points:?}: two standard errors of the truth over the mean width, worst of {}", held.len());
        sheet.at_most(name, blur.fold(0.0, slowpoint_tests::larger), 0.1);
        sheet.because(
            "93 % less three standard deviations of a share over 128 seeds, 6.8 %: an interval that covers 80 % is \
            found out",
        );
        let gate = COVERED_LEAST - 3.0 * (COVERED_LEAST * (1.0 - COVERED_LEAST) / SEEDS as f64).sqrt();
        let cells: Vec<Cell> = held.into_iter().map(|c| c.0).collect();
        let w = least_covered(&cells).unwrap_or_else(|| panic!("no cells"));
        sheet.at_least(format!("{COVERED}, {w}"), percent(w.cell.share()), percent(gate));
        let wrong: Vec<Cell> = real_cells(NAME, &known, points, &found, halved).into_iter().map(|c| c.0).collect();
        let w = least_covered(&wrong).unwrap_or_else(|| panic!("no cells"));
        sheet.less_than(format!("wrong on purpose, {HALF}: {COVERED}, {w}"), percent(w.cell.share()), percent(gate));
        sheet.because("the promise");
        let w = widest_of_few(&cells).unwrap_or_else(|| panic!("25 hits are few"));
        sheet.at_most(format!("{WIDTH_OF_FEW}, {w}"), w.cell.widest, WIDTH_MOST);
        if let Some(w) = widest_of_little_spread(&cells) {
            sheet.at_most(format!("{WIDTH_OF_LITTLE}, {w}"), width_in_flights(w.cell), width_of_few_flights());
        }
        sheet.because(
            "one seed's share is known to 1.4 %, the mean of 128 to 0.12 %; the areas are laid round the very flights \
            that are counted, and five fitted numbers flatter an ellipse of 256 flights by some 0.7 %",
        );
        for (way, fresh) in known.landings.iter().enumerate() {
            let a = areas(&found, way, fresh);
            for (what, says, holds) in [
                ("95 % area: share promised of other flights", a.region_promised, a.region_fresh),
                ("95 % ellipse: share it says it holds", a.ellipse_held, a.ellipse_fresh),
            ] {
                let name = format!("{points:?}, way {}, {what}, and found of them, %", way + 1);
                sheet.close(name, percent(holds), percent(says), 1.0);
            }
        }
    }
    sheet
}

/// Also 256 flights, where an unseen flight of chance 1 may be all there is at 0.001.
fn cov_7_whole_law() -> Sheet {
    let mut sheet = Sheet::new(
        "COV-7",
        "what 95 % intervals hold of the mean of chances that are integrated over the law of firing: three events whose \
        chance is exact, one with a thousandth of flights of chance 1, 256 and 1000 flights over 1000 seeds",
        Trust::Statement,
        PROMISE,
    );
    for points in KINDS {
        for flights in [256, 1000] {
            let found = whole_law_chances(points, flights, 0..SEEDS);
            let cells = whole_law_cells(&found, points, as_reported);
            sheet.because(THOUSAND_SEEDS);
            keeps(&mut sheet, &cells);
            let counted = found.iter().flatten().flatten().filter(|c| c.estimator != Estimated::Integrated).count();
            sheet.equal(format!("{points:?}, {flights} flights: chances that were counted"), counted, 0);
            let half = whole_law_cells(&found, points, halved);
            let w = least_covered(&half).unwrap_or_else(|| panic!("no cells"));
            let name = format!("wrong on purpose, {HALF}: {COVERED}, {w}");
            sheet.less_than(name, percent(w.cell.share()), percent(COVERED_LEAST));
        }
    }
    sheet
}

fn cov_8_best_is_sure_of_the_law() -> Sheet {
    let mut sheet = Sheet::new(
        "COV-8",
        "claims as of COV-5 from chances that are integrated over the law of firing, 256 flights over 400 seeds",
        Trust::Statement,
        CLAIM,
    );
    for points in KINDS {
        judge(
            &mut sheet,
            points,
            whole_law_claims(points, 256, 0..400, nearly_alike),
            whole_law_claims(points, 256, 0..400, anywhere),
        );
    }
    sheet
}

/// Whoever stops at the first interval that is narrow enough picks those that are narrow by chance.
fn cov_9_until() -> Sheet {
    let mut sheet = Sheet::new(
        "COV-9",
        "what intervals hold that end the flights themselves, once narrow enough, of a single chance that is exact: looked \
        at after 256, 512 and 1024 flights over 1000 seeds, for the widths that are the worst to ask for",
        Trust::Statement,
        "at least 93 % of the answers hold the true chance everywhere, whatever width is asked for",
    );
    for points in KINDS {
        let found = until_chances(points, 1024, 0..SEEDS);
        let ended_at = |flights| found.iter().flat_map(|f| &f.2).filter(|c| c.flights == flights).count();
        sheet
            .because("each is made at 96.5 %, of which two looks may leave some 94 %; a thousand seeds stray by 0.7 %");
        for cell in until_cells(&found, as_reported) {
            let name = format!("{COVERED}, {}, p {}, {} flights on the average", cell.what, cell.truth, cell.flights);
            sheet.at_least(name, percent(cell.share()), percent(COVERED_LEAST));
        }
        sheet.because("the bound of the promise, from its other side");
        let half = until_cells(&found, halved);
        let w = least_covered(&half).unwrap_or_else(|| panic!("no cells"));
        sheet.less_than(
            format!("wrong on purpose, {HALF}: {COVERED}, {w}"),
            percent(w.cell.share()),
            percent(COVERED_LEAST),
        );
        let elsewhere = found.len() * SEEDS as usize - [256, 512, 1024].into_iter().map(ended_at).sum::<usize>();
        sheet.equal(format!("{points:?}: answers that ended elsewhere"), elsewhere, 0);
        sheet.because("else nothing would be picked");
        for flights in [512, 1024] {
            let name = format!("{points:?}: answers that ended at {flights} flights");
            sheet.more_than(name, ended_at(flights) as f64, 1000.0);
        }
    }
    sheet
}
