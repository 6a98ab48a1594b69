//! A picture as PNG, from its SVG. Words are set in DejaVu Sans, which comes with the program.

use std::sync::{Arc, LazyLock};

use resvg::tiny_skia::{Pixmap, Transform};
use resvg::usvg::{Options, Tree, fontdb};

/// Media type.
pub const MEDIA_TYPE: &str = "image/png";
/// Pixels a unit: 1080 wide, for phones with fine screens and for print.
const SCALE: f32 = 3.0;

/// The fonts: nothing of the machine's own, so that a picture has the same bytes everywhere.
static FONTS: LazyLock<Arc<fontdb::Database>> = LazyLock::new(|| {
    let mut fonts = fontdb::Database::new();
    for font in [dejavu::sans::regular(), dejavu::sans::bold()] {
        fonts.load_font_data(font.to_vec());
    }
    fonts.set_sans_serif_family("DejaVu Sans");
    Arc::new(fonts)
});

fn read(svg: &str) -> Option<Tree> {
    let options = Options { fontdb: Arc::clone(&FONTS), font_family: "DejaVu Sans".into(), ..Options::default() };
    Tree::from_str(svg, &options).ok()
}

/// Draws it; `None` for what is no picture.
pub fn of(svg: &str) -> Option<Vec<u8>> {
    let tree = read(svg)?;
    let size = tree.size();
    let mut pixels = Pixmap::new((size.width() * SCALE).ceil() as u32, (size.height() * SCALE).ceil() as u32)?;
    resvg::render(&tree, Transform::from_scale(SCALE, SCALE), &mut pixels.as_mut());
    pixels.encode_png().ok()
}

/// Widths of the texts of a picture.
#[cfg(test)]
pub fn widths(svg: &str) -> Vec<f64> {
    let tree = read(svg);
    let nodes = tree.iter().flat_map(|tree| tree.root().children());
    let width = |node: &resvg::usvg::Node| match node {
        resvg::usvg::Node::Text(text) => Some(f64::from(text.bounding_box().width())),
        _ => None,
    };
    nodes.filter_map(width).collect()
}
