//! What an order that was begun still misses, from what was typed in it.

use super::OrderForm;
use crate::desk::unfinished::Missing;
use crate::optics::Eye;
use crate::web::form::Form;
use crate::web::page::customers::CustomerForm;

impl OrderForm {
    /// What is missing in a draft, in the order of the page. A field that is filled but wrong is not missing: its page
    /// says what is wrong.
    pub(in crate::web) fn missing(form: &Form) -> Vec<Missing> {
        let has = |name: &str| !form.value(name).trim().is_empty();
        let is_known = has(Self::CUSTOMER_ID) && form.value(Self::CUSTOMER_ID) != Self::NEW_CUSTOMER;
        let has_address = [CustomerForm::LINE1, CustomerForm::CITY, CustomerForm::POSTCODE].into_iter().all(has);
        let has_frame = [Self::FRAME_ID, Self::FRAME_MAKER, Self::FRAME_NAME, Self::RELENS_OF].into_iter().any(has);
        [
            (Missing::Name, has(Self::CUSTOMER_NAME)),
            (Missing::Address, is_known || has_address),
            (Missing::Frame, has_frame),
            (Missing::RightEye, has(Self::rx(Eye::Right))),
            (Missing::LeftEye, has(Self::rx(Eye::Left))),
            (Missing::PupilDistance, has(Self::PD) || has(Self::NEAR_PD)),
        ]
        .into_iter()
        .filter_map(|(item, is_there)| (!is_there).then_some(item))
        .collect()
    }
}
