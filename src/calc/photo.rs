//! The pupil distance from a photo of a face with a card. It may be asked alone, without a shape.

use serde::{Deserialize, Serialize};
use serde_json::Value;

use super::CalcError;
use super::figure::clean;
use super::request::{Eyes, parsed};
use crate::optics::Pair;
use crate::picture::Pixel;
use crate::picture::face::{
    FaceMeasures, FacePhoto, FaceScale, USUAL_CAMERA_MM, USUAL_CARD_NEARER_MM, USUAL_FRAME_NEARER_MM,
};

const FIELD: &str = "from_photo";

#[derive(Deserialize)]
#[serde(deny_unknown_fields, expecting = "fields with names")]
pub(super) struct PhotoRequest {
    card_px: Vec<Vec<f64>>,
    pupils_px: Eyes<Vec<f64>>,
    bridge_px: Vec<f64>,
    image_px: Vec<f64>,
    camera_mm: Option<f64>,
    card_nearer_mm: Option<f64>,
    mark_error_px: Option<f64>,
}

/// A request that asks for nothing else.
#[derive(Deserialize)]
#[serde(deny_unknown_fields, expecting = "fields with names")]
struct Alone {
    from_photo: PhotoRequest,
}

/// The answer to a request that asks for nothing else.
#[derive(Serialize)]
pub(super) struct AloneAnswer {
    from_photo: PhotoAnswer,
}

#[derive(Serialize)]
pub(super) struct PhotoAnswer {
    pd_mm: EyesAnswer,
    near_pd_mm: EyesAnswer,
    plus_minus_mm: PlusMinusAnswer,
    warnings: Vec<String>,
}

#[derive(Serialize)]
struct EyesAnswer {
    right: f64,
    left: f64,
}

#[derive(Serialize)]
struct PlusMinusAnswer {
    pair: f64,
    each: f64,
}

/// Answers a request whose only field is the photo. `None` for any other request.
pub(super) fn alone(json: &str) -> Result<Option<AloneAnswer>, CalcError> {
    let is_alone = match serde_json::from_str(json) {
        Ok(Value::Object(fields)) => fields.len() == 1 && fields.get(FIELD).is_some_and(|photo| !photo.is_null()),
        _ => false,
    };
    if !is_alone {
        return Ok(None);
    }
    let request: Alone = parsed(json)?;
    let from_photo = PhotoAnswer::to(&request.from_photo.check()?)?;
    Ok(Some(AloneAnswer { from_photo }))
}

impl PhotoRequest {
    pub(super) fn check(self) -> Result<FacePhoto, CalcError> {
        let count = self.card_px.len();
        let corners: Vec<Pixel> = self
            .card_px
            .iter()
            .enumerate()
            .map(|(index, corner)| place(&format!("card_px[{index}]"), corner))
            .collect::<Result<_, _>>()?;
        let corners = <[Pixel; 4]>::try_from(corners)
            .map_err(|_| refused("card_px", &format!("four corners were expected, not {count}")))?;
        let pupils = self.pupils_px.into_pair();
        let image = place("image_px", &self.image_px)?;
        Ok(FacePhoto {
            scale: FaceScale::Card { corners, nearer_mm: self.card_nearer_mm.unwrap_or(USUAL_CARD_NEARER_MM) },
            pupils: Pair::new(place("pupils_px.right", &pupils.right)?, place("pupils_px.left", &pupils.left)?),
            bridge: place("bridge_px", &self.bridge_px)?,
            lower_rims: None,
            image_px: (image.x, image.y),
            camera_mm: self.camera_mm.unwrap_or(USUAL_CAMERA_MM),
            frame_nearer_mm: USUAL_FRAME_NEARER_MM,
            mark_error_px: self.mark_error_px.unwrap_or(1.0),
        })
    }
}

fn refused(field: &str, problem: &str) -> CalcError {
    CalcError::new(format!("{FIELD}.{field}"), problem)
}

fn place(field: &str, numbers: &[f64]) -> Result<Pixel, CalcError> {
    match numbers {
        [x, y] => Ok(Pixel::new(*x, *y)),
        _ => Err(refused(field, &format!("two numbers, x and y, were expected, not {}", numbers.len()))),
    }
}

impl PhotoAnswer {
    pub(super) fn to(photo: &FacePhoto) -> Result<Self, CalcError> {
        let measures = photo.measure().map_err(|why| CalcError::new(FIELD, why.to_string()))?;
        Ok(Self::of(&measures))
    }

    fn of(measures: &FaceMeasures) -> Self {
        let eyes = |of: Pair<f64>| EyesAnswer { right: clean(of.right), left: clean(of.left) };
        Self {
            pd_mm: eyes(measures.far_mm),
            near_pd_mm: eyes(measures.near_mm),
            plus_minus_mm: PlusMinusAnswer {
                pair: clean(measures.plus_minus.pair_mm),
                each: clean(measures.plus_minus.each_mm),
            },
            warnings: measures.warnings.iter().map(ToString::to_string).collect(),
        }
    }
}

#[cfg(test)]
mod tests {
    use serde_json::{Value, json};

    use crate::calc::run;

    /// The rule of similar triangles: at 500 mm and 6 pixels for each mm, a card 10 mm nearer is 524.0816 by 330.4898
    /// pixels, and eyes 63 mm apart show their pupils 63 · 500 / 510.5 · 6 = 370.2253 pixels apart (computed by hand).
    fn request() -> Value {
        json!({"from_photo": {
            "card_px": [[1237.9592, 1500], [1762.0408, 1500], [1762.0408, 1830.4898], [1237.9592, 1830.4898]],
            "pupils_px": {"right": [1314.8874, 2000], "left": [1685.1126, 2000]},
            "bridge_px": [1500, 2010], "image_px": [3000, 4000],
            "camera_mm": 500, "card_nearer_mm": 10, "mark_error_px": 1
        }})
    }

    fn answer(request: &Value) -> Value {
        serde_json::from_str(&run(&request.to_string()).unwrap()).unwrap()
    }

    #[test]
    fn a_photo_is_answered_alone_or_beside_a_shape() {
        let alone = answer(&request());
        assert_eq!(alone.as_object().unwrap().len(), 1);
        let close = |pointer: &str, want: f64| {
            let got = alone.pointer(pointer).and_then(Value::as_f64).unwrap();
            assert!((got - want).abs() < 0.01, "{pointer}: {got}, not {want}");
        };
        for eye in ["right", "left"] {
            close(&format!("/from_photo/pd_mm/{eye}"), 31.5);
            close(&format!("/from_photo/near_pd_mm/{eye}"), 31.5 * 400.0 / 427.0);
        }
        assert_eq!(alone.pointer("/from_photo/warnings"), Some(&json!([])));
        let mut whole = request();
        for (name, value) in [
            ("shape", json!({"right": {"radii_mm": [25, 25, 25, 25, 25, 25]}})),
            ("dbl_mm", json!(18)),
            ("pd_mm", json!({"right": 31, "left": 31})),
            ("height_mm", json!({"right": 20, "left": 20})),
        ] {
            whole[name] = value;
        }
        assert_eq!(answer(&whole)["from_photo"], alone["from_photo"]);
        whole["from_photo"] = json!(null);
        assert_eq!(answer(&whole).get("from_photo"), None);
        // What is left out is usual.
        let mut usual = request();
        for name in ["camera_mm", "card_nearer_mm", "mark_error_px"] {
            usual["from_photo"].as_object_mut().unwrap().remove(name);
        }
        assert_eq!(answer(&usual), alone);
    }

    #[test]
    fn a_bad_photo_names_its_field() {
        for (pointer, value, want) in [
            ("/from_photo", json!([1]), "from_photo: a list stands here"),
            ("/from_photo", json!(null), "shape: missing"),
            ("/from_photo/card_px", json!([[1, 2], [3, 4], [5, 6]]), "from_photo.card_px: four corners"),
            ("/from_photo/card_px", json!(5), "from_photo.card_px: invalid type"),
            ("/from_photo/card_px/1", json!([1, 2, 3]), "from_photo.card_px[1]: two numbers"),
            ("/from_photo/card_px/1", json!([[1], 2]), "from_photo.card_px[1][0]: "),
            ("/from_photo/card_px/1", json!({"x": 1, "y": 2}), "from_photo.card_px[1]: invalid type"),
            ("/from_photo/card_px/1", json!([1e308, -1e308]), "from_photo: a corner of the card is not in"),
            ("/from_photo/pupils_px", json!([[1, 2], [3, 4]]), "from_photo.pupils_px: a list stands here"),
            ("/from_photo/pupils_px/right", json!(["a", 2]), "from_photo.pupils_px.right[0]: "),
            ("/from_photo/pupils_px/right", json!([2000, 2000]), "from_photo: the pupils are exchanged"),
            ("/from_photo/pupils_px/left", json!(null), "from_photo.pupils_px.left: "),
            ("/from_photo/image_px", json!([3000]), "from_photo.image_px: two numbers"),
            ("/from_photo/image_px", json!([0, 0]), "from_photo: the width of the picture"),
            ("/from_photo/camera_mm", json!(0), "from_photo: the camera’s distance in mm is 0: between 200 and 5000"),
            ("/from_photo/camera_mm", json!("far"), "from_photo.camera_mm: "),
            ("/from_photo/mark_error_px", json!(-1), "from_photo: the mark error"),
        ] {
            let mut request = request();
            *request.pointer_mut(pointer).unwrap() = value.clone();
            let error = run(&request.to_string()).expect_err(pointer).to_string();
            assert!(error.starts_with(want), "{pointer} = {value}: {error}");
            assert!(!error.contains('\n'));
        }
        let mut other = request();
        other["from_photo"]["lens_px"] = json!(1);
        assert!(run(&other.to_string()).is_err_and(|why| why.field == "from_photo.lens_px"));
        other["from_photo"].as_object_mut().unwrap().retain(|name, _| name != "lens_px" && name != "bridge_px");
        assert!(run(&other.to_string()).is_err_and(|why| why.field == "from_photo.bridge_px"));
    }

    #[test]
    fn a_turned_head_is_said() {
        // By 20° about the vertical, its right cheek away from the camera: the card's sides are unequal.
        let mut request = request();
        let (sin, cos) = 20.0_f64.to_radians().sin_cos();
        let place = |x: f64, y: f64, z: f64| {
            let scale = 3000.0 / (500.0 - x * sin + z * cos);
            json!([1500.0 + scale * (x * cos + z * sin), 2000.0 + scale * y])
        };
        let corners = [(-42.8, -76.99), (42.8, -76.99), (42.8, -23.01), (-42.8, -23.01)];
        request["from_photo"]["card_px"] = json!(corners.map(|(x, y)| place(x, y, -10.0)));
        request["from_photo"]["pupils_px"] = json!({"right": place(-30.9, 0.0, 0.0), "left": place(30.9, 0.0, 0.0)});
        request["from_photo"]["bridge_px"] = place(0.0, 0.0, 0.0);
        let warnings = answer(&request)["from_photo"]["warnings"].to_string();
        assert!(warnings.contains("turned by about 20° toward the wearer’s right"), "{warnings}");
    }
}
