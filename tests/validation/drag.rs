//! Drag build-up: friction, form factors, base, and the whole rocket.

use super::cp1::{AIR, cp1};
use slowpoint_sim::aero::drag;
use slowpoint_tests::sheet::{Sheet, Trust};

slowpoint_tests::subject! { "Drag":
    cf_1_friction,
    ff_1_form_factors,
    drag_1_whole_rocket,
}

fn cf_1_friction() -> Sheet {
    let mut sheet = Sheet::new(
        "CF-1",
        "friction of a plate",
        Trust::B,
        "Blasius 1.328/sqrt(Re); Schlichting 0.455 (log Re)^-2.58 (Hoerner p. 2-5, read second-hand); less 1700/Re (from memory)",
    );
    sheet.because("six printed places");
    for (reynolds, laminar, turbulent, transitional) in [
        (1e5, 0.004200, 0.007156, None),
        (5e5, 0.001878, 0.005106, Some(0.001706)),
        (1e6, 0.001328, 0.004471, Some(0.002771)),
        (3e6, 0.000767, 0.003670, Some(0.003103)),
        (1e7, 0.000420, 0.003004, Some(0.002834)),
    ] {
        sheet.close(format!("laminar at Re {reynolds:e}"), drag::laminar_friction(reynolds), laminar, 5.1e-7);
        sheet.close(format!("turbulent at Re {reynolds:e}"), drag::turbulent_friction(reynolds), turbulent, 5.1e-7);
        if let Some(mixed) = transitional {
            sheet.close(
                format!("transitional at Re {reynolds:e}"),
                drag::transitional_friction(reynolds),
                mixed,
                5.1e-7,
            );
        }
    }
    sheet
}

fn ff_1_form_factors() -> Sheet {
    let mut sheet = Sheet::new(
        "FF-1",
        "form factors of body and fins, drag of the base",
        Trust::B,
        "Hoerner's forms; MIL-HDBK-762 fit of base drag, plume off (all read second-hand)",
    );
    sheet.because("printed digits");
    for (fineness, factor) in [(5.0, 1.19016), (10.0, 1.05443), (15.0, 1.02789), (20.0, 1.01765), (25.0, 1.01245)] {
        sheet.close(format!("body of {fineness} calibres"), drag::body_form_factor(fineness), factor, 5.1e-6);
    }
    for (thickness, factor) in [(0.05, 1.100375), (0.10, 1.206)] {
        sheet.close(format!("fin of {thickness} of its chord"), drag::fin_form_factor(thickness), factor, 1e-9);
    }
    for (mach, base) in [
        (0.3, 0.159),
        (0.6, 0.159),
        (0.8, 0.160),
        (0.9, 0.164),
        (1.0, 0.179),
        (1.1, 0.189),
        (1.2, 0.187),
        (1.5, 0.173),
        (2.0, 0.146),
    ] {
        sheet.close(format!("base at Mach {mach}"), drag::base_drag(mach), base, 5e-4);
    }
    sheet
}

fn drag_1_whole_rocket() -> Sheet {
    let mut sheet = Sheet::new(
        "DRAG-1",
        "drag coefficient of the whole rocket at 60 m/s",
        Trust::B,
        "the build-up with the handbook's base drag, computed apart: 0.525",
    );
    sheet.because("the case is incompressible; at Mach 0.176 friction is 0.3 % lower, 0.001 of the total, and the last printed digit is 0.0005");
    let aero = cp1();
    let mach = 60.0 / AIR.speed_of_sound_m_s;
    sheet.close("coasting", aero.drag_coasting.at(mach), 0.525, 0.0015);
    sheet.because("usual simplification: the motor's 18 mm of the 25 mm base do not drag while it burns");
    let jet = 0.159 * (18.0 / 25.0) * (18.0 / 25.0);
    sheet.close("saved while thrusting", aero.drag_coasting.at(mach) - aero.drag_thrusting.at(mach), jet, 1e-9);
    sheet
}
