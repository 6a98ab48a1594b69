//! Weather messages of each kind, published and invented: what is damaged to see that it is refused.

#![allow(missing_docs, reason = "test support: the names say it")]

pub const METARS: [&str; 6] = [
    "KBIL 162256Z 29017G27KT 10SM FEW070 SCT085 BKN110 M02/M02 A2961 RMK AO2 T10171022",
    "KABQ 100156Z 32010KT 280V340 10SM TS FEW033 BKN075CB OVC100 19/14 A2999",
    "SVVA 171100Z 00000KT 9999 FEW016 BKN250 21/19 Q1013 NOSIG",
    "METAR YUDO 221630Z 24004MPS 0600 R12/1000U DZ FG SCT010 OVC020 17/16 Q1018 BECMG TL1700 0800 FG=",
    "SPECI LOWI 210850Z AUTO /////KT //// // ////// 02/// Q////",
    "METAR COR KDCA 210855Z VRB03KT CAVOK 240P99KT",
];

pub const BULLETIN: &str = "\
DATA BASED ON 201200Z
VALID 201800Z   FOR USE 1400-2100Z. TEMPS NEG ABV 24000

FT  3000    6000    9000   12000   18000   24000  30000  34000  39000

ABQ              1912+16 2109+09 2419-04 2427-14 243230 232941 232850
AAA 9900 9900+03 2435+07 3600-00 7799-10 8600-24 274650 731960 750456
";

/// The published TTAA of Albany and the balloon of WMO-No. 306, with invented significant levels.
pub const SOUNDINGS: [&str; 3] = [
    "TTAA 81001 72518 99030 08863 33004 00263 10464 34016 92904 04461 00518 85585 00079 01526 70138 04182 32526 50572 17372 31549 \
     40736 28766 31052 88192 64957 28579 77182 28581 41314 51515 10164",
    "PPBB 8100/ 72518 9226/ 27025 28030 9329/ ///// 29035=",
    "TTAA 81001 72518 99030 08863 33004 00263 10464 34016 92904 04461 00518 85585 00079 01526 70138 04182 32526 88999 77999=\n\
     TTBB 8100/ 72518 00030 08863 11015 09862 22870 01300 33/// ///// 44720 03380 21212 00030 33004 11960 35512 22780 33520 51515 \
     10164=\nPPBB 8100/ 72518 90024 33508 35014 00020 9057/ 00522 33526=",
];

pub const TABLES: [&str; 3] = [
    "height_above_ground ft, direction deg, speed kt\n1000, 240, 12\n3000, 260, 20\n",
    "Speed (kt);Height MSL [m];Wind direction;remark\r\n20;3000;260;x\r\n12;1000;240;\r\n",
    "agl_ft speed_kt direction_deg temperature_C\n1000 12 240 -5\n3000 20 260 //",
];

/// A coverage with three heights and two times, invented.
pub const COVERAGE: &str = r#"{"type": "Coverage", "domain": {"type": "Domain", "axes": {"x": {"values": [1]}, "y": {"start": 2, "stop": 2, "num": 1},
"z": {"values": [1000, 850, 700]}, "t": {"values": ["2026-11-25T12:00:00Z", "2026-11-25T18:00:00Z"]}}, "referencing": [{"coordinates": ["z"],
"system": {"type": "VerticalCRS", "cs": {"csAxes": [{"name": {"en": "Pressure"}, "unit": {"symbol": "hPa"}}]}}}]}, "parameters":
{"eastward_wind": {"unit": {"symbol": {"value": "m.s-1"}}}, "northward_wind": {"unit": {"symbol": "m/s"}}, "geopotential_height":
{"unit": {"symbol": "m"}}, "air_temperature": {"unit": {"symbol": "K"}}}, "ranges": {"eastward_wind": {"type": "NdArray", "axisNames":
["t", "z"], "shape": [2, 3], "values": [1, 2, 3, 4, 5, 6]}, "northward_wind": {"type": "NdArray", "axisNames": ["z", "t"], "shape": [3, 2],
"values": [1, 2, 3, null, -5, 6]}, "geopotential_height": {"type": "NdArray", "axisNames": ["z"], "shape": [3], "values": [110, 1460, 3010]},
"air_temperature": {"type": "NdArray", "axisNames": ["t", "z"], "shape": [2, 3], "values": [288, 278, 268, 289, 279, 269]}}}"#;
