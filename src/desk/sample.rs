//! A job for tests.

#![allow(clippy::unwrap_used, reason = "a test value that cannot be made is a failed test")]

use time::macros::date;
use uuid::Uuid;

use super::catalogue::{Material, starting_materials};
use super::center_height::CenterHeight;
use super::customer::{Customer, Person};
use super::frame::{Frame, FrameDetails, Rim};
use super::frame_shape::{DblSource, FrameShape, ShapeOrigin};
use super::id::{CustomerId, FrameId, MaterialId, MaterialVersionId, ShapeId};
use super::job::{EyeTask, Job, JobEye};
use super::money::Cents;
use super::order::Design;
use super::prescription::{MadeFor, Prescription};
use crate::optics::prescription::{read, read_pupil_distance};
use crate::optics::{Eye, Pair};
use crate::shape::trace::{Angles, Trace};

/// The shape of a round frame 44□20.
pub fn round_shape() -> FrameShape {
    let trace = Trace::new(Eye::Right, vec![2200; 400], Angles::Equal).unwrap();
    FrameShape {
        id: ShapeId(Uuid::nil()),
        job_number: Some(1001),
        parent: None,
        origin: ShapeOrigin::Traced,
        traces: Pair::new(trace.clone(), trace.mirror()),
        derived: Some(Eye::Left),
        dbl: "20".parse().unwrap(),
        dbl_source: DblSource::File,
        rim_curve_tool_d: Pair::default(),
        rim: Pair::default(),
        holes: Pair::default(),
    }
}

fn nobody() -> Customer {
    Customer { id: CustomerId(Uuid::nil()), person: Person::default() }
}

/// A job in that frame, to this prescription and pupil distance, the optical center 2 above the middle.
pub fn round_job(rx: &str, pd: &str) -> Job {
    let eye = read(rx).unwrap().rx;
    let made = JobEye { task: EyeTask::Make, height: CenterHeight::Bottom("24".parse().unwrap()) };
    Job {
        number: 1001,
        customer: nobody(),
        payer: nobody(),
        recipient: nobody(),
        frame: Frame {
            id: FrameId(Uuid::nil()),
            details: FrameDetails {
                maker: "Heron & Rye".into(),
                model: "Dunlin".into(),
                color: String::new(),
                eye_size: "44".parse().unwrap(),
                bridge: "20".parse().unwrap(),
                temple: None,
                rim: Rim::Metal,
                price: Cents::new(0),
            },
        },
        prescription: Prescription {
            eyes: Pair::new(eye, eye),
            has_power: Pair::new(true, true),
            typed: Pair::default(),
            prescriber: String::new(),
            prescriber_npi: None,
            written_on: None,
            expires_on: None,
            diagnosis: String::new(),
            pupil_distance: read_pupil_distance(pd).unwrap(),
            near_pupil_distance: Some(read_pupil_distance("60").unwrap()),
        },
        made_for: MadeFor::Distance,
        material: Material {
            id: MaterialId(Uuid::nil()),
            version: MaterialVersionId(Uuid::nil()),
            details: starting_materials().remove(0),
        },
        design: Design::Spherical,
        coating: None,
        second_coating: None,
        tint: None,
        eyes: Pair::new(made, made),
        ordered_on: date!(2026 - 11 - 25),
        promised_on: date!(2026 - 12 - 05),
        note: String::new(),
        revision: 1,
        old: None,
        parent: None,
        remake: None,
        shape: Some(ShapeId(Uuid::nil())),
        charged: Cents::new(0),
        paid: Cents::new(0),
        sent_on: None,
        receipt: None,
        frame_position: None,
        vertex: None,
        power_decision: None,
        history: Vec::new(),
    }
}
