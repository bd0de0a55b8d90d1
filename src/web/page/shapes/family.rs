//! Where a shape comes from and what was made from it; and a shape by itself, whether a job uses it now or not.

use askama::Template;
use axum::extract::{Path, State};

use super::{EyeShape, MOST_JOBS, dbl_from, eye_shapes};
use crate::desk::drilling::HoleTableRow;
use crate::desk::frame_shape::{FrameShape, ShapeOrigin};
use crate::desk::id::ShapeId;
use crate::shape::boxing::Boxing;
use crate::shape::layout::frame_pd_mm;
use crate::store::shape::ShapeLine;
use crate::web::AppState;
use crate::web::error::WebError;
use crate::web::page::{Chrome, PageResult, key_of, show};

/// Children shown at once.
const MOST_CHILDREN: i64 = 20;

/// The parent of a shape and its children.
#[derive(Debug, Clone)]
pub struct Family {
    /// The shape it was made from.
    pub parent: Option<ShapeLink>,
    /// The shapes made from it.
    pub children: Vec<ShapeLink>,
}

/// Another shape.
#[derive(Debug, Clone)]
pub struct ShapeLink {
    /// Its page.
    pub path: String,
    /// What it is.
    pub words: String,
}

impl ShapeLink {
    fn of(line: &ShapeLine) -> Self {
        let whose = line.job.map(|job| format!(", job {job}")).unwrap_or_default();
        let words = match line.origin {
            ShapeOrigin::Traced => format!("the shape as traced{whose}"),
            origin => format!("{}{whose}", origin.words()),
        };
        Self { path: format!("/shapes/{}", line.id), words }
    }
}

impl Family {
    /// Of a shape on file.
    pub async fn of(state: &AppState, shape: &FrameShape) -> Result<Self, WebError> {
        let parent = match shape.parent {
            Some(id) => {
                let parent = state.store.get_shape(id).await?;
                Some(ShapeLink::of(&ShapeLine { id, job: parent.job_number, origin: parent.origin }))
            }
            None => None,
        };
        let children = state.store.list_children(shape.id, MOST_CHILDREN).await?;
        Ok(Self { parent, children: children.iter().map(ShapeLink::of).collect() })
    }
}

#[derive(Template)]
#[template(path = "shapes/one.html")]
struct OneShape {
    chrome: Chrome,
    id: ShapeId,
    job: Option<i64>,
    frame_pd: String,
    dbl: String,
    dbl_from: &'static str,
    from: String,
    jobs: Vec<i64>,
    family: Family,
    eyes: [EyeShape; 2],
    holes: Vec<HoleTableRow>,
    cautions: Vec<String>,
}

pub(crate) async fn show_one(State(state): State<AppState>, Path(id): Path<String>) -> PageResult {
    let shape = state.store.get_shape(key_of::<ShapeId>(&id, "That shape")?).await?;
    let (file, warnings) = state.store.get_shape_file(shape.id).await?;
    let outlines = shape.outlines();
    let boxing = outlines.as_ref().map(Boxing::of);
    show(&OneShape {
        chrome: Chrome::new(&state, ""),
        id: shape.id,
        job: shape.job_number,
        frame_pd: format!("{:.2}", frame_pd_mm(&boxing.right, &boxing.left, shape.dbl.to_f64())),
        dbl: shape.dbl.to_string(),
        dbl_from: dbl_from(&shape),
        from: if file.is_empty() { shape.origin.words().to_owned() } else { file },
        jobs: state.store.list_jobs_of_shape(shape.id, MOST_JOBS).await?,
        family: Family::of(&state, &shape).await?,
        eyes: eye_shapes(&shape, &outlines, &boxing),
        holes: HoleTableRow::of(&shape.holes),
        cautions: shape.cautions_of_itself(&warnings),
    })
}
