//! The outline's networks against JAX on the same weights and pictures (`tests/reference/net_jax.py`).

use seatspan::outline::network::net::{Net, Planes};
use seatspan::outline::network::{CHANNEL_FORM, CHANNEL_RIM, FORM, FORM_CHANNELS, RIM, RIM_CHANNELS};

const ROWS: usize = 48;
const COLUMNS: usize = 128;
/// Logarithms of probabilities, written with four digits; both sides count in single precision.
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

#[test]
fn the_networks_tell_what_jax_tells() {
    let reference: serde_json::Value =
        serde_json::from_str(include_str!("../reference/net_jax.json")).unwrap();
    let nets: [(&str, &Option<Net>, usize); 4] = [
        ("form", &FORM, FORM_CHANNELS),
        ("channel_form", &CHANNEL_FORM, FORM_CHANNELS),
        ("rim", &RIM, RIM_CHANNELS),
        ("channel_rim", &CHANNEL_RIM, RIM_CHANNELS),
    ];
    for (name, net, channels) in nets {
        let told = net.as_ref().expect("the weights can be read").look(picture(channels));
        for kept in reference["nets"][name].as_array().unwrap() {
            let row = kept["row"].as_u64().unwrap() as usize;
            let ours = told.row(row).iter().chain([&told.unseen[row]]);
            for (column, (ours, theirs)) in ours.zip(kept["said"].as_array().unwrap()).enumerate() {
                let off = f64::from(*ours) - theirs.as_f64().unwrap();
                assert!(off.abs() < TOLERANCE, "{name}, row {row}, column {column}: off by {off}");
            }
        }
    }
}

#[test]
fn probabilities_of_a_row_add_up_to_one() {
    let net = RIM.as_ref().unwrap();
    let told = net.posterior(picture(RIM_CHANNELS));
    for row in 0..ROWS {
        let sum: f32 = told.row(row).iter().chain([&told.unseen[row]]).map(|v| v.exp()).sum();
        assert!((sum - 1.0).abs() < 1e-4, "row {row}: {sum}");
    }
}

#[test]
fn weights_of_another_length_are_not_read() {
    let right = 2 * 55_854;
    assert!(Net::read(FORM_CHANNELS, &vec![0; right]).is_some());
    for wrong in [0, right - 2, right + 2] {
        assert!(Net::read(FORM_CHANNELS, &vec![0; wrong]).is_none(), "{wrong} bytes");
    }
}
