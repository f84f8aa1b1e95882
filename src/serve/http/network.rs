//! The address under which others on the network reach this machine, as text and as a code that a phone's camera reads.

use std::net::{IpAddr, Ipv4Addr, SocketAddr, UdpSocket};

use qrcode::render::{svg, unicode};
use qrcode::{EcLevel, QrCode};

/// An address on no network (RFC 5737), to ask the system which of its own addresses leads out; nothing is sent to it.
const OUTSIDE: (Ipv4Addr, u16) = (Ipv4Addr::new(192, 0, 2, 1), 9);
/// Least side of the code on a page, pixels.
const CODE_PX: u32 = 240;

/// This machine's address on its network; `None` where it is on none.
pub fn own_address() -> Option<IpAddr> {
    let socket = UdpSocket::bind((Ipv4Addr::UNSPECIFIED, 0)).ok()?;
    socket.connect(OUTSIDE).ok()?;
    Some(socket.local_addr().ok()?.ip()).filter(|ip| !ip.is_loopback() && !ip.is_unspecified())
}

/// The address that others can open of a server that listens on `address`; `None` where there is none.
pub fn reachable(address: SocketAddr) -> Option<SocketAddr> {
    let ip = if address.ip().is_unspecified() { own_address()? } else { address.ip() };
    (!ip.is_loopback()).then_some(SocketAddr::new(ip, address.port()))
}

/// The QR code (ISO/IEC 18004) of a text, in half blocks of a terminal with a dark ground; `None` for a text that is too
/// long for one.
pub fn code_for_terminal(text: &str) -> Option<String> {
    let code = QrCode::with_error_correction_level(text, EcLevel::L).ok()?;
    let (dark, light) = (unicode::Dense1x2::Light, unicode::Dense1x2::Dark);
    Some(code.render::<unicode::Dense1x2>().dark_color(dark).light_color(light).build())
}

/// The same as a drawing for a page, dark on white whatever the page's colours are: cameras want that.
pub fn code_for_page(text: &str) -> Option<String> {
    let code = QrCode::with_error_correction_level(text, EcLevel::L).ok()?;
    let drawing = code.render::<svg::Color>().min_dimensions(CODE_PX, CODE_PX).build();
    // A page's own drawing needs no head of a file.
    Some(drawing.split_once("?>").map_or(drawing.clone(), |(_, svg)| svg.to_owned()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_address_for_others_is_not_this_machines_own() {
        assert_eq!(reachable("127.0.0.1:80".parse().unwrap()), None);
        assert_eq!(reachable("192.0.2.7:80".parse().unwrap()), "192.0.2.7:80".parse().ok());
        assert!(reachable("0.0.0.0:80".parse().unwrap()).is_none_or(|a| !a.ip().is_loopback() && a.port() == 80));
    }

    #[test]
    fn a_code_is_a_square_of_modules() {
        let url = format!("http://192.0.2.7:4711/?token={}", "a1".repeat(32));
        let lines = code_for_terminal(&url).unwrap();
        let width = lines.lines().next().unwrap().chars().count();
        // Version 5, L: 37 modules and a quiet zone of four on each side (ISO/IEC 18004).
        assert_eq!((width, lines.lines().count()), (45, 23));
        assert!(code_for_page(&url).unwrap().starts_with("<svg"));
    }
}
