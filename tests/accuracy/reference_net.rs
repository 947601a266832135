//! The outline's networks against JAX on the same weights and pictures (`tests/reference/net_jax.py`).

use seatspan::outline::network::net::{EdgeNets, Planes, RENDERED};
use seatspan::outline::network::{
    CHANNEL_FORM, CHANNEL_RIM, FORM, FORM_CHANNELS, PLACE_CHANNELS, PLACES, RIM, RIM_CHANNELS,
};
use serde_json::Value;

const ROWS: usize = 48;
const COLUMNS: usize = 128;
/// Log probabilities and log odds, written with four digits; both sides compute in single precision.
const TOLERANCE: f64 = 2e-3;

fn picture(channels: usize) -> Planes {
    let mut planes = Planes::zeros(ROWS, COLUMNS, channels);
    for row in 0..ROWS {
        for k in 0..channels {
            let value = |column: usize| {
                let (row, column, k) = (row as f64, column as f64, k as f64);
                (0.1 * row * (k + 1.0) + 0.07 * column * (k + 2.0)).sin() as f32
            };
            planes.line_mut(row, k).iter_mut().enumerate().for_each(|(c, v)| *v = value(c));
        }
    }
    planes
}

/// Compares the rows of a network that the reference keeps.
fn compare(name: &str, row_of: impl Fn(usize) -> Vec<f32>) {
    let reference: Value = serde_json::from_str(include_str!("../reference/net_jax.json")).unwrap();
    for kept in reference["nets"][name].as_array().unwrap() {
        let row = kept["row"].as_u64().unwrap() as usize;
        let (ours, theirs) = (row_of(row), kept["values"].as_array().unwrap());
        assert_eq!(ours.len(), theirs.len(), "{name}, row {row}");
        for (column, (ours, theirs)) in ours.iter().zip(theirs).enumerate() {
            let off = f64::from(*ours) - theirs.as_f64().unwrap();
            assert!(off.abs() < TOLERANCE, "{name}, row {row}, column {column}: off by {off}");
        }
    }
}

#[test]
fn edge_posteriors_agree_with_jax() {
    let nets: [(&str, &EdgeNets, usize); 4] = [
        ("form", &FORM, FORM_CHANNELS),
        ("channel_form", &CHANNEL_FORM, FORM_CHANNELS),
        ("rim", &RIM, RIM_CHANNELS),
        ("channel_rim", &CHANNEL_RIM, RIM_CHANNELS),
    ];
    for (name, net, channels) in nets {
        let posterior = net.posterior(picture(channels));
        compare(name, |row| [posterior.row(row), &[posterior.unseen[row]]].concat());
    }
}

#[test]
fn maps_of_places_agree_with_jax() {
    let maps = PLACES.maps(picture(PLACE_CHANNELS));
    compare("places", |row| {
        maps.iter().flat_map(|map| map[row * COLUMNS..(row + 1) * COLUMNS].to_vec()).collect()
    });
}

#[test]
fn pictures_of_any_multiple_are_convolved() {
    // At the coarsest scale eleven columns are left: a block of eight and three.
    let wide = |columns: usize| {
        let mut planes = Planes::zeros(32, columns, PLACE_CHANNELS);
        (0..32).for_each(|row| planes.line_mut(row, 0)[..64].fill(1.0));
        PLACES.maps(planes)
    };
    let (narrow, broad) = (wide(176), wide(256));
    // Far from the border both see the same: the receptive field of the left quarter ends before column 176.
    let off = (0..8).map(|column| (narrow[0][column] - broad[0][column]).abs()).fold(0.0, f32::max);
    assert!(off < 1e-3, "{off}");
}

#[test]
fn probabilities_of_a_row_add_up_to_one() {
    let posterior = RIM.posterior(picture(RIM_CHANNELS));
    for row in 0..ROWS {
        let sum: f32 = posterior.row(row).iter().chain([&posterior.unseen[row]]).map(|v| v.exp()).sum();
        assert!((sum - 1.0).abs() < 1e-4, "row {row}: {sum}");
    }
}

#[test]
fn weights_of_another_length_are_not_read() {
    let right = include_bytes!("../../src/outline/network/form.weights");
    assert!(EdgeNets::read(FORM_CHANNELS, &[(RENDERED, right)]).is_some());
    let longer = [&right[..], &[0, 0]].concat();
    for wrong in [&right[..0], &right[2..], &longer] {
        assert!(EdgeNets::read(FORM_CHANNELS, &[(RENDERED, wrong)]).is_none(), "{} bytes", wrong.len());
    }
}
