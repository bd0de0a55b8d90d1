//! The fields of the page: where each mark is, and what was stated.

use crate::optics::Pair;
use crate::picture::Pixel;
use crate::picture::face::{
    CAMERA_MM, FRAME_MM, FaceMeasures, FacePhoto, FaceScale, MARK_ERROR_PX, NEARER_MM, USUAL_CAMERA_MM,
    USUAL_CARD_NEARER_MM, USUAL_FRAME_NEARER_MM,
};
use crate::web::form::Form;
use crate::web::page::shapes::picture::number;
use crate::web::words::capital;

/// A place to be marked.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct PhotoMark {
    /// Its field.
    pub name: &'static str,
    /// For a person.
    pub words: &'static str,
    /// Beside the mark in the photo.
    pub letter: &'static str,
    pub group: MarkNeed,
}

/// When a mark is needed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum MarkNeed {
    Always,
    Card,
    Frame,
    /// For the heights, which may be left out.
    Heights,
}

const fn mark(name: &'static str, words: &'static str, letter: &'static str, group: MarkNeed) -> PhotoMark {
    PhotoMark { name, words, letter, group }
}

/// Every mark in the order in which they are set.
pub(super) static MARKS: [PhotoMark; 11] = [
    mark("pupil_right", "right pupil", "R", MarkNeed::Always),
    mark("pupil_left", "left pupil", "L", MarkNeed::Always),
    mark("bridge", "middle of the nose, between the eyes", "N", MarkNeed::Always),
    mark("corner_1", "card: top left", "1", MarkNeed::Card),
    mark("corner_2", "card: top right", "2", MarkNeed::Card),
    mark("corner_3", "card: bottom right", "3", MarkNeed::Card),
    mark("corner_4", "card: bottom left", "4", MarkNeed::Card),
    mark("edge_right", "frame: outer edge of the right lens", "R edge", MarkNeed::Frame),
    mark("edge_left", "frame: outer edge of the left lens", "L edge", MarkNeed::Frame),
    mark("rim_right", "lowest point of the right lens", "R low", MarkNeed::Heights),
    mark("rim_left", "lowest point of the left lens", "L low", MarkNeed::Heights),
];

/// Widths at which the photo is shown, pixels of the page.
pub(super) const SHOWN_PX: [usize; 4] = [720, 1440, 2880, 360];

/// Two marks are told apart by a person at best so many pixels of the page.
const EYE_PX: f64 = 1.0;

/// Names and reading of the fields.
pub(super) struct MeasuringForm;

/// What was marked.
pub(super) struct Marked {
    /// What is still to be marked, in words.
    pub missing: Vec<&'static str>,
    photo: Option<FacePhoto>,
}

impl MeasuringForm {
    pub(super) const FILE: &str = "file";
    pub(super) const PHOTO: &str = "photo";
    pub(super) const KEEP: &str = "keep";
    /// Which figures are used.
    pub(super) const USE: &str = "use";
    const PLACE: &str = "place";
    const SHOWN: &str = "shown";
    const SCALE: &str = "scale";
    const CAMERA: &str = "camera";
    const CARD_NEARER: &str = "card_nearer";
    const FRAME_NEARER: &str = "frame_nearer";
    const FRAME_WIDTH: &str = "frame_width";
    const MARK_ERROR: &str = "mark_error";
    /// Where the photo was pressed, as a browser sends it.
    const CLICK: [&str; 2] = ["at.x", "at.y"];

    /// What a page starts with.
    pub(super) fn fill_usual(form: &mut Form, size_px: (usize, usize), frame_mm: Option<f64>) {
        form.set_default(Self::SCALE, "card");
        form.set_default(Self::SHOWN, SHOWN_PX[0].to_string());
        form.set_default(Self::PLACE, MARKS[0].name);
        form.set_default(Self::CAMERA, USUAL_CAMERA_MM.to_string());
        form.set_default(Self::CARD_NEARER, USUAL_CARD_NEARER_MM.to_string());
        form.set_default(Self::FRAME_NEARER, USUAL_FRAME_NEARER_MM.to_string());
        form.set_default(Self::FRAME_WIDTH, frame_mm.map(|mm| format!("{mm:.1}")).unwrap_or_default());
        // Marks that are set with care in a larger view.
        let error_px = (EYE_PX * size_px.0 as f64 / SHOWN_PX[1] as f64).max(1.0);
        form.set_default(Self::MARK_ERROR, format!("{error_px:.1}"));
    }

    /// The corners that were found, where none is marked.
    pub(super) fn fill_corners(form: &mut Form, corners: [Pixel; 4]) {
        let names = MARKS.iter().filter(|mark| mark.group == MarkNeed::Card).map(|mark| mark.name);
        for (name, corner) in names.zip(corners) {
            form.set_default(name, written(corner));
        }
    }

    /// The width of the photo on the page.
    pub(super) fn shown_px(form: &Form) -> usize {
        let asked = form.value(Self::SHOWN).parse().ok();
        asked.filter(|px| SHOWN_PX.contains(px)).unwrap_or(SHOWN_PX[0])
    }

    /// Pixels of the photo for each pixel of the page.
    pub(super) fn per_px(form: &Form, size_px: (usize, usize)) -> f64 {
        (size_px.0 as f64 / Self::shown_px(form) as f64).max(0.01)
    }

    /// Sets the chosen mark where the photo was pressed, and chooses the next one. The photo pressed by a key is pressed
    /// at its corner, which marks nothing.
    pub(super) fn take_click(form: &mut Form, size_px: (usize, usize)) {
        let [x, y] = Self::CLICK.map(|name| form.value(name).parse::<f64>().unwrap_or(0.0));
        Self::CLICK.into_iter().for_each(|name| form.replace(name, Vec::new()));
        let chosen = MARKS.iter().find(|mark| mark.name == form.value(Self::PLACE));
        let (Some(chosen), true) = (chosen, x > 0.0 || y > 0.0) else { return };
        let per_px = Self::per_px(form, size_px);
        let within = |at: f64, size: usize| (at * per_px).clamp(0.0, size as f64);
        form.set(chosen.name, written(Pixel::new(within(x, size_px.0), within(y, size_px.1))));
        let next = Self::asked(form).find(|mark| form.value(mark.name).trim().is_empty());
        if let Some(next) = next.map(|mark| mark.name) {
            form.set(Self::PLACE, next);
        }
    }

    /// The marks that belong to the chosen scale.
    fn asked(form: &Form) -> impl Iterator<Item = &'static PhotoMark> + use<> {
        let is_card = form.value(Self::SCALE) != "frame";
        let other = if is_card { MarkNeed::Frame } else { MarkNeed::Card };
        MARKS.iter().filter(move |mark| mark.group != other)
    }

    /// Reads the fields; a sentence stands beside each wrong one.
    pub(super) fn read(form: &mut Form, size_px: (usize, usize)) -> Marked {
        let mut limited = |name, range: std::ops::RangeInclusive<f64>, what| {
            form.read(name, |text| number(text, *range.start(), *range.end(), what))
        };
        let camera_mm = limited(Self::CAMERA, CAMERA_MM, "a distance in mm");
        let frame_nearer_mm = limited(Self::FRAME_NEARER, NEARER_MM, "a length in mm");
        let mark_error_px = limited(Self::MARK_ERROR, MARK_ERROR_PX, "a number of pixels");
        let missing: Vec<&PhotoMark> =
            Self::asked(form).filter(|mark| form.value(mark.name).trim().is_empty()).collect();
        let lacks = |group: MarkNeed| missing.iter().any(|mark| mark.group == group);
        // One rim alone says nothing.
        let rims = if lacks(MarkNeed::Heights) { None } else { places(form, ["rim_right", "rim_left"]) };
        let one_rim = missing.iter().filter(|mark| mark.group == MarkNeed::Heights).count() == 1;
        let needed = missing.iter().filter(|mark| mark.group != MarkNeed::Heights || one_rim);
        let words: Vec<&str> = needed.map(|mark| mark.words).collect();
        let photo = (|| {
            let [right, left, bridge] = places(form, ["pupil_right", "pupil_left", "bridge"])?;
            Some(FacePhoto {
                scale: Self::read_scale(form)?,
                pupils: Pair::new(right, left),
                bridge,
                lower_rims: rims.map(|[right, left]| Pair::new(right, left)),
                image_px: (size_px.0 as f64, size_px.1 as f64),
                camera_mm: camera_mm?,
                frame_nearer_mm: frame_nearer_mm?,
                mark_error_px: mark_error_px?,
            })
        })();
        Marked { photo: photo.filter(|_| form.is_fine()), missing: words }
    }

    fn read_scale(form: &mut Form) -> Option<FaceScale> {
        if form.value(Self::SCALE) == "frame" {
            let [right, left] = places(form, ["edge_right", "edge_left"])?;
            let what = "the width of the front in mm: A + DBL + A";
            let width_mm =
                form.read(Self::FRAME_WIDTH, |text| number(text, *FRAME_MM.start(), *FRAME_MM.end(), what))?;
            return Some(FaceScale::Frame { edges: Pair::new(right, left), width_mm });
        }
        let corners = places(form, ["corner_1", "corner_2", "corner_3", "corner_4"]);
        let (low, high) = (*NEARER_MM.start(), *NEARER_MM.end());
        let nearer_mm = form.read(Self::CARD_NEARER, |text| number(text, low, high, "a length in mm"));
        Some(FaceScale::Card { corners: corners?, nearer_mm: nearer_mm? })
    }
}

impl Marked {
    /// The figures; why there are none stands beside the scale.
    pub(super) fn measured(&self, form: &mut Form) -> Option<FaceMeasures> {
        match self.photo?.measure() {
            Ok(measures) => Some(measures),
            Err(why) => {
                form.fail(MeasuringForm::SCALE, capital(&why.to_string()));
                None
            }
        }
    }
}

/// Places from their fields. `None` where one is empty or wrong.
fn places<const N: usize>(form: &mut Form, names: [&'static str; N]) -> Option<[Pixel; N]> {
    let read: Vec<Option<Pixel>> =
        names.into_iter().map(|name| form.read_optional(name, read_place).flatten()).collect();
    let read: Option<Vec<Pixel>> = read.into_iter().collect();
    read?.try_into().ok()
}

fn read_place(text: &str) -> Result<Pixel, &'static str> {
    let one = |part: &str| part.trim().parse::<f64>().ok().filter(|number| number.is_finite());
    let place = text.split_once(',').and_then(|(x, y)| Some(Pixel::new(one(x)?, one(y)?)));
    place.ok_or("Write the place as x,y in pixels from the top left corner of the photo")
}

pub(super) fn written(place: Pixel) -> String {
    format!("{:.1},{:.1}", place.x, place.y)
}

/// Where a mark is, if its field says it.
pub(super) fn place_of(form: &Form, mark: &PhotoMark) -> Option<Pixel> {
    read_place(form.value(mark.name)).ok()
}
