//! GRIB2 messages octet by octet, from the tables of WMO-No. 306 FM 92 (sections 0 to 8; grid templates 3.0, 3.1, 3.10,
//! 3.20, 3.30, 3.40; product templates 4.0 and 4.1; packing template 5.0).

#![allow(dead_code, missing_docs, clippy::unwrap_used, reason = "test support: not every test uses all of it")]

/// A field of one value a point.
#[derive(Clone)]
pub struct Field {
    pub category: u8,
    pub number: u8,
    /// Code table 4.5: 100 isobaric (Pa), 103 above ground (m), 102 above sea, 1 the ground.
    pub surface: u8,
    pub level: u32,
    pub hours_ahead: u32,
    pub values: Vec<f64>,
    /// Product template: 0 alone, 1 a member of an ensemble.
    pub product: u16,
    /// What the template has after the levels: of a member its kind (code table 4.6), its number and how many there are.
    pub more: Vec<u8>,
}

/// The same fields as a member of an ensemble.
pub fn of_member(fields: &[Field], kind: u8, number: u8) -> Vec<Field> {
    fields.iter().cloned().map(|f| Field { product: 1, more: vec![kind, number, 3], ..f }).collect()
}

/// The grid section's template number and octets from the 15th on, and its number of points.
#[derive(Clone)]
pub struct Grid {
    pub template: u16,
    pub octets: Vec<u8>,
    pub points: u32,
}

/// Sign and magnitude, as the tables have negative numbers.
fn signed(x: i32) -> [u8; 4] {
    (x.unsigned_abs() | if x < 0 { 1 << 31 } else { 0 }).to_be_bytes()
}

fn microdegrees(degrees: f64) -> [u8; 4] {
    signed((degrees * 1e6).round() as i32)
}

/// Octets 15 to 30: a sphere with a radius of 6,371,229 m (code table 3.2, 6).
fn earth() -> Vec<u8> {
    let mut octets = vec![6];
    for _ in 0..3 {
        octets.extend([255; 5]);
    }
    octets
}

/// Template 3.0: rows from north-west, i eastward, j southward. `flags` are those of table 3.3.
pub fn lat_lon([north, south]: [f64; 2], [west, east]: [f64; 2], [across, down]: [u32; 2], flags: u8) -> Grid {
    let mut octets = earth();
    octets.extend(across.to_be_bytes());
    octets.extend(down.to_be_bytes());
    octets.extend([0, 0, 0, 0, 255, 255, 255, 255]);
    octets.extend(microdegrees(north));
    octets.extend(microdegrees(west));
    octets.push(flags);
    octets.extend(microdegrees(south));
    octets.extend(microdegrees(east));
    octets.extend(microdegrees((east - west) / f64::from(across - 1)));
    octets.extend(microdegrees((north - south) / f64::from(down - 1)));
    octets.push(0);
    Grid { template: 0, octets, points: across * down }
}

/// Template 3.1: the same on a sphere whose south pole is moved.
pub fn rotated(grid: Grid, [south_pole_lat, south_pole_lon]: [f64; 2]) -> Grid {
    let mut octets = grid.octets;
    octets.extend(microdegrees(south_pole_lat));
    octets.extend(microdegrees(south_pole_lon));
    octets.extend(0_f32.to_be_bytes());
    Grid { template: 1, octets, ..grid }
}

/// Template 3.30: a cone that touches at one latitude; rows from south-west, x eastward, y northward.
pub fn lambert(first: [f64; 2], touching: f64, meridian: f64, step_m: f64, shape: [u32; 2], flags: u8) -> Grid {
    let mut grid = polar(first, touching, meridian, step_m, shape, flags);
    for _ in 0..2 {
        grid.octets.extend(microdegrees(touching));
    }
    grid.octets.extend(microdegrees(-90.0));
    grid.octets.extend(microdegrees(0.0));
    Grid { template: 30, ..grid }
}

/// Template 3.20: a plane about the pole that is nearer to where its lengths are true; rows as above.
pub fn polar(
    [lat, lon]: [f64; 2],
    true_at: f64,
    meridian: f64,
    step_m: f64,
    [across, up]: [u32; 2],
    flags: u8,
) -> Grid {
    let mut octets = earth();
    octets.extend(across.to_be_bytes());
    octets.extend(up.to_be_bytes());
    octets.extend(microdegrees(lat));
    octets.extend(microdegrees(lon));
    octets.push(flags);
    octets.extend(microdegrees(true_at));
    octets.extend(microdegrees(meridian));
    for _ in 0..2 {
        octets.extend(((step_m * 1e3) as u32).to_be_bytes());
    }
    // The pole on the plane; scanned +i, +j.
    octets.extend([if true_at < 0.0 { 0b1000_0000 } else { 0 }, 0b0100_0000]);
    Grid { template: 20, octets, points: across * up }
}

/// Template 3.10: rows from south-west, x eastward, y northward, from one corner to the other.
pub fn mercator(first: [f64; 2], last: [f64; 2], true_at: f64, step_m: f64, [across, up]: [u32; 2], flags: u8) -> Grid {
    let mut octets = earth();
    octets.extend(across.to_be_bytes());
    octets.extend(up.to_be_bytes());
    octets.extend(first.map(microdegrees).concat());
    octets.push(flags);
    octets.extend(microdegrees(true_at));
    octets.extend(last.map(microdegrees).concat());
    octets.push(0b0100_0000);
    octets.extend([0; 4]);
    for _ in 0..2 {
        octets.extend(((step_m * 1e3) as u32).to_be_bytes());
    }
    Grid { template: 10, octets, points: across * up }
}

/// Template 3.40: as many rows as are said, `between` of them between a pole and the equator, from north to south.
pub fn gaussian([north, south]: [f64; 2], [west, east]: [f64; 2], [across, down]: [u32; 2], between: u32) -> Grid {
    let grid = lat_lon([north, south], [west, east], [across, down], 0b0011_0000);
    let mut octets = grid.octets;
    // Octets 68 to 71.
    octets[53..57].copy_from_slice(&between.to_be_bytes());
    Grid { template: 40, octets, ..grid }
}

/// The same grid with other octets from one on, counted as in the tables.
pub fn with_octets(grid: &Grid, octet: usize, other: &[u8]) -> Grid {
    let mut changed = grid.clone();
    changed.octets[octet - 15..octet - 15 + other.len()].copy_from_slice(other);
    changed
}

fn section(number: u8, octets: &[u8]) -> Vec<u8> {
    let mut all = (octets.len() as u32 + 5).to_be_bytes().to_vec();
    all.push(number);
    all.extend(octets);
    all
}

/// Decimal places that values are kept to, and bits of each.
const PLACES: u16 = 2;
const BITS: u8 = 24;

/// A message analysed on 10 November 2026 at 00 UTC, its values packed by template 5.0.
pub fn message(grid: &Grid, field: &Field) -> Vec<u8> {
    packed_as(grid, field, 0, &[], None)
}

/// The same with another packing: its template, what it has after the octets of template 5.0, and what it packed.
pub fn packed_as(grid: &Grid, field: &Field, template: u16, more: &[u8], packed: Option<Vec<u8>>) -> Vec<u8> {
    let mut body = Vec::new();
    // Centre, tables, the start of a forecast, its time, operational, a forecast.
    body.extend(section(1, &[0, 7, 0, 0, 2, 1, 1, 0x07, 0xea, 11, 10, 0, 0, 0, 0, 1]));
    let mut octets = vec![0];
    octets.extend(grid.points.to_be_bytes());
    octets.extend([0, 0]);
    octets.extend(grid.template.to_be_bytes());
    octets.extend(&grid.octets);
    body.extend(section(3, &octets));
    let mut octets = vec![0, 0];
    octets.extend(field.product.to_be_bytes());
    octets.extend([field.category, field.number, 2, 0, 0, 0, 0, 0, 1]);
    octets.extend(field.hours_ahead.to_be_bytes());
    octets.extend([field.surface, 0]);
    octets.extend(field.level.to_be_bytes());
    octets.extend([255; 6]);
    octets.extend(&field.more);
    body.extend(section(4, &octets));
    // value = (R + X 2^E) / 10^D with E = 0.
    let scaled: Vec<f64> = field.values.iter().map(|v| v * 10_f64.powi(PLACES.into())).collect();
    let least = scaled.iter().copied().fold(f64::INFINITY, f64::min) as f32;
    let mut octets = field.values.len().try_into().map(u32::to_be_bytes).unwrap().to_vec();
    octets.extend(template.to_be_bytes());
    octets.extend(least.to_be_bytes());
    octets.extend([0, 0]);
    octets.extend(PLACES.to_be_bytes());
    octets.extend([BITS, 0]);
    octets.extend(more);
    body.extend(section(5, &octets));
    body.extend(section(6, &[255]));
    let simple =
        || scaled.iter().flat_map(|v| ((v - f64::from(least)).round() as u32).to_be_bytes()[1..].to_vec()).collect();
    body.extend(section(7, &packed.unwrap_or_else(simple)));
    body.extend(b"7777");
    let mut all = b"GRIB\0\0\0\x02".to_vec();
    all.extend((body.len() as u64 + 16).to_be_bytes());
    all.extend(body);
    all
}

/// u, v and what else is known at a level, the same everywhere but for `u`, which grows by 0.1 m/s from point to point.
pub fn level(
    surface: u8,
    level: u32,
    hours_ahead: u32,
    points: u32,
    [u, v]: [f64; 2],
    height: Option<f64>,
) -> Vec<Field> {
    let field = |category, number, values| Field {
        category,
        number,
        surface,
        level,
        hours_ahead,
        values,
        product: 0,
        more: Vec::new(),
    };
    let mut fields =
        vec![field(2, 2, (0..points).map(|k| u + 0.1 * f64::from(k)).collect()), field(2, 3, vec![v; points as usize])];
    fields.extend(height.map(|h| field(3, 5, vec![h; points as usize])));
    fields
}

pub fn file(grid: &Grid, fields: &[Field]) -> Vec<u8> {
    fields.iter().flat_map(|f| message(grid, f)).collect()
}

/// A grid of each kind about Albuquerque, the plain one last.
pub fn grids() -> [Grid; 6] {
    [
        rotated(lat_lon([2.0, -2.0], [358.0, 2.0 + 360.0], [5, 5], 0b0011_1000), [-54.96, 253.38]),
        lambert([33.5, 251.0], 38.5, 262.5, 60_000.0, [9, 8], 0b0000_1000),
        polar([33.0, 251.5], 60.0, 249.0, 60_000.0, [9, 8], 0b0000_1000),
        mercator([33.5, 251.0], [36.6, 256.1], 20.0, 60_000.0, [9, 8], 0b0000_1000),
        gaussian([73.8, -73.8], [0.0, 337.5], [16, 8], 4),
        lat_lon([36.0, 34.5], [252.5, 255.0], [6, 4], 0b0011_0000),
    ]
}

/// Winds near the ground and aloft over all of it.
pub fn two_levels(grid: &Grid) -> Vec<Field> {
    let low = level(103, 10, 6, grid.points, [1.0, 2.0], None);
    [low, level(100, 70_000, 6, grid.points, [4.0, 2.0], Some(3000.0))].concat()
}
