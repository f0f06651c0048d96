//! The standards once more, written from their texts and from nothing of the program: what a device sends.

/// Number of counts, or the code for 'not available'.
fn count(number: Option<f64>, scale: f64, offset: f64, blank: u64) -> u64 {
    number.map_or(blank, |number| ((number - offset) / scale).round() as i64 as u64)
}

fn little<const N: usize>(count: u64) -> [u8; N] {
    let mut bytes = [0; N];
    bytes.copy_from_slice(&count.to_le_bytes()[..N]);
    bytes
}

/// DC_SOURCE_STATUS_1 or BATTERY_STATUS_1: volts, and amperes that charge.
pub(crate) fn rv_c_1(number: u8, second: u8, volts: Option<f64>, amps: Option<f64>) -> [u8; 8] {
    let [v0, v1] = little(count(volts, 0.05, 0.0, 0xFFFF));
    let discharge = amps.map(|amps| -amps);
    let [a0, a1, a2, a3] = little(count(discharge, 0.001, -2_000_000.0, 0xFFFF_FFFF));
    [number, second, v0, v1, a0, a1, a2, a3]
}

/// DC_SOURCE_STATUS_2 or BATTERY_STATUS_2: temperature and state of charge.
pub(crate) fn rv_c_2(number: u8, second: u8, celsius: Option<f64>, soc: Option<f64>) -> [u8; 8] {
    let [t0, t1] = little(count(celsius, 0.031_25, -273.0, 0xFFFF));
    let [percent] = little(count(soc, 0.005, 0.0, 0xFF));
    [number, second, t0, t1, percent, 0xFF, 0xFF, 0xFF]
}

/// DC_SOURCE_STATUS_5: volts, finer.
pub(crate) fn rv_c_5(number: u8, priority: u8, volts: Option<f64>) -> [u8; 8] {
    let [v0, v1, v2, v3] = little(count(volts, 0.001, 0.0, 0xFFFF_FFFF));
    [number, priority, v0, v1, v2, v3, 0xFF, 0xFF]
}

/// DC_SOURCE_STATUS_6: whether something will disconnect soon.
pub(crate) fn rv_c_6(number: u8, priority: u8, soon: Option<bool>) -> [u8; 8] {
    let bits = match soon {
        None => 0b11,
        Some(soon) => u8::from(soon),
    };
    [number, priority, bits << 2 | 0b1111_0011, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF]
}

/// DC_SOURCE_STATUS_11: discharge and charge path.
pub(crate) fn rv_c_11(number: u8, priority: u8, discharge: Option<bool>, charge: Option<bool>) -> [u8; 8] {
    let bits = |closed: Option<bool>| closed.map_or(0b11, u8::from);
    [number, priority, 0b1111_0000 | bits(charge) << 2 | bits(discharge), 0xFF, 0xFF, 0xFF, 0xFF, 0xFF]
}

/// CELL_DETAIL of the cells' one module.
pub(crate) fn cell_detail(
    battery: u8,
    cell: u8,
    volts: Option<f64>,
    celsius: Option<f64>,
    balancing: Option<bool>,
) -> [u8; 8] {
    let state = |there: bool| u8::from(there); // 0 invalid, 1 normal
    let states =
        0b1100_0000 | state(volts.is_some()) | state(celsius.is_some()) << 2 | balancing.map_or(0b11, u8::from) << 4;
    let [v0, v1] = little(count(volts, 0.001, 0.0, 0xFFFF));
    let [degrees] = little(count(celsius, 1.0, -40.0, 0xFF));
    [battery, 1, cell, states, v0, v1, degrees, 0xFF]
}

/// 127508: volts, amperes, temperature.
pub(crate) fn marine_battery(instance: u8, volts: Option<f64>, amps: Option<f64>, celsius: Option<f64>) -> [u8; 8] {
    let [v0, v1] = little(count(volts, 0.01, 0.0, 0x7FFF));
    let [a0, a1] = little(count(amps, 0.1, 0.0, 0x7FFF));
    let [t0, t1] = little(count(celsius.map(|celsius| celsius + 273.15), 0.01, 0.0, 0xFFFF));
    [instance, v0, v1, a0, a1, t0, t1, 0xFF]
}

/// 127506 of a battery: state of charge.
pub(crate) fn marine_soc(instance: u8, soc: Option<f64>) -> [u8; 11] {
    let [percent] = little(count(soc, 0.01, 0.0, 0xFF));
    [0xFF, instance, 0, percent, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF]
}

/// The frames of a fast packet.
pub(crate) fn fast_packet(number: u8, message: &[u8]) -> Vec<[u8; 8]> {
    let (first, rest) = message.split_at(message.len().min(6));
    let head = |frame: usize| (number & 7) << 5 | frame as u8;
    let mut start = [0xFF; 8];
    start[0] = head(0);
    start[1] = message.len() as u8;
    start[2..2 + first.len()].copy_from_slice(first);
    let later = rest.chunks(7).enumerate().map(|(index, part)| {
        let mut frame = [0xFF; 8];
        frame[0] = head(index + 1);
        frame[1..=part.len()].copy_from_slice(part);
        frame
    });
    std::iter::once(start).chain(later).collect()
}

/// Announcement and packets of a long message to everyone.
pub(crate) fn broadcast(group: u32, message: &[u8]) -> Vec<[u8; 8]> {
    let packets = message.chunks(7).enumerate().map(|(index, part)| {
        let mut frame = [0xFF; 8];
        frame[0] = index as u8 + 1;
        frame[1..=part.len()].copy_from_slice(part);
        frame
    });
    let packets: Vec<[u8; 8]> = packets.collect();
    let [low, high] = little(message.len() as u64);
    let [g0, g1, g2] = little(u64::from(group));
    let mut frames = vec![[0x20, low, high, packets.len() as u8, 0xFF, g0, g1, g2]];
    frames.extend(packets);
    frames
}
