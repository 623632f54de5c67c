//! Which addresses are public. The source is the IANA registries of special-purpose addresses for IPv4 and
//! IPv6 (RFC 6890 and its updates). Every address that they do not call globally reachable is refused.
//! Multicast is refused, too.

use std::net::{IpAddr, Ipv4Addr, Ipv6Addr};
use url::Host;

/// Whether an address may belong to a server on the open internet.
pub fn is_public(address: IpAddr) -> bool {
    match address {
        IpAddr::V4(address) => is_public_v4(address),
        IpAddr::V6(address) => is_public_v6(address),
    }
}

/// Whether a URL's host is an address that is not public, or a name that always leads to this machine (RFC 6761, 6.3).
/// Where other names lead is known when they are resolved.
pub fn is_inside(host: &Host<&str>) -> bool {
    match host {
        Host::Ipv4(address) => !is_public_v4(*address),
        Host::Ipv6(address) => !is_public_v6(*address),
        Host::Domain(name) => {
            let name = name.trim_end_matches('.').to_ascii_lowercase();
            name == "localhost" || name.ends_with(".localhost")
        }
    }
}

fn is_public_v4(address: Ipv4Addr) -> bool {
    let [a, b, c, _] = address.octets();
    let special = match (a, b, c) {
        // This network, private and loopback. Multicast, reserved and broadcast.
        (0 | 10 | 127 | 224.., _, _)
        // Addresses that a carrier's customers share.
        | (100, 64..=127, _)
        // Link-local: cloud providers serve their metadata here.
        | (169, 254, _)
        | (172, 16..=31, _)
        // A cloud provider's own platform (from memory): its number is public, but only machines inside reach
        // it.
        | (168, 63, 129)
        // Protocol assignments, documentation, withdrawn relays, AS112.
        | (192, 0, 0 | 2)
        | (192, 31, 196)
        | (192, 52, 193)
        | (192, 88, 99)
        | (192, 168, _)
        | (192, 175, 48)
        // Benchmarks, documentation.
        | (198, 18..=19, _)
        | (198, 51, 100)
        | (203, 0, 113) => true,
        _ => false,
    };
    !special
}

fn is_public_v6(address: Ipv6Addr) -> bool {
    let s = address.segments();
    // Global unicast (RFC 4291). Mapped, translated, unique local, link-local and multicast addresses lie
    // outside.
    let global = s[0] & 0xe000 == 0x2000;
    let special = match s {
        // Protocol assignments (such as Teredo, benchmarks and ORCHID), documentation, 6to4, AS112.
        [0x2001, 0..=0x01ff | 0x0db8, ..] | [0x2002, ..] | [0x2620, 0x004f, 0x8000, ..] => true,
        // Documentation, RFC 9637.
        [0x3fff, second, ..] => second < 0x1000,
        _ => false,
    };
    global && !special
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_way_to_write_an_address_inside_is_seen() {
        for inside in [
            "https://127.0.0.1/",
            "https://2130706433/",
            "https://0x7f.1/",
            "https://0177.0.0.01/",
            "https://[::1]/",
            "https://[::ffff:10.0.0.1]/",
            "https://10.0.0.1:8443/",
            "https://LOCALHOST/",
            "https://localhost./",
            "https://eaves.localhost/",
        ] {
            let url = url::Url::parse(inside).unwrap();
            assert!(is_inside(&url.host().unwrap()), "{inside}");
        }
        for outside in ["https://hooks.example/", "https://1.1.1.1/", "https://localhost.example/"] {
            let url = url::Url::parse(outside).unwrap();
            assert!(!is_inside(&url.host().unwrap()), "{outside}");
        }
    }

    #[test]
    fn what_is_not_of_the_open_internet_is_refused() {
        for inside in [
            "127.0.0.1",
            "127.9.9.9",
            "0.0.0.0",
            "10.0.0.1",
            "172.16.0.1",
            "172.31.255.255",
            "192.168.1.1",
            "169.254.169.254",
            "100.64.0.1",
            "100.100.100.200",
            "192.0.0.192",
            "192.0.2.1",
            "198.18.0.1",
            "198.51.100.7",
            "203.0.113.9",
            "224.0.0.1",
            "240.0.0.1",
            "255.255.255.255",
            "192.88.99.1",
            "168.63.129.16",
            "::",
            "::1",
            "fe80::1",
            "fc00::1",
            "fd00:ec2::254",
            "ff02::1",
            "::ffff:127.0.0.1",
            "::ffff:8.8.8.8",
            "64:ff9b::7f00:1",
            "64:ff9b:1::1",
            "2002:7f00:1::",
            "2001:db8::1",
            "2001::1",
            "3fff::1",
            "100::1",
            "fec0::1",
            "5f00::1",
        ] {
            assert!(!is_public(inside.parse().unwrap()), "{inside}");
        }
        for outside in [
            "1.1.1.1",
            "8.8.8.8",
            "100.63.255.255",
            "100.128.0.1",
            "172.15.0.1",
            "172.32.0.1",
            "192.0.1.1",
            "198.20.0.1",
            "223.255.255.254",
            "2606:4700::1111",
            "2a00:1450::1",
            "2001:4860:4860::8888",
            "2001:200::1",
            "3ffe::1",
        ] {
            assert!(is_public(outside.parse().unwrap()), "{outside}");
        }
    }
}
