//! The way that rises, crosses and lands: the shortest between two views in the eye's own measure of panning and
//! zooming.
//!
//! J. J. van Wijk and W. A. A. Nuij, *Smooth and efficient zooming and panning*, IEEE InfoVis 2003,
//! doi 10.1109/INFVIS.2003.1249004. Formulae from memory; the tests hold them against d3-interpolate's and the metric.
//!
//! ## Decisions
//!
//! - A flight lands at every inner key. `rho` is measured in widths of the window and is 0.01 to 10.

use kurbo::Point;

/// What is looked at, and how much of it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct View {
    /// The point, in pixels.
    pub point: Point,
    /// The window's width, in pixels, above 0.
    pub width: f64,
}

/// The way from one view to another.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Flight {
    from: View,
    to: View,
    rho: f64,
    /// Where the way begins on the curve; none where it is a zoom in place.
    begin: Option<f64>,
    length: f64,
}

impl Flight {
    /// How much is zoomed for how much is panned where nothing is said: what the paper's authors propose is near it.
    pub const RHO: f64 = std::f64::consts::SQRT_2;

    /// Points nearer than this share of the wider view are one: there the curve is a zoom in place.
    const IN_PLACE: f64 = 1e-9;

    /// The way between two views; `rho` above 0, larger rises higher.
    #[must_use]
    pub fn new(from: View, to: View, rho: f64) -> Self {
        let distance = from.point.distance(to.point);
        if distance <= Self::IN_PLACE * from.width.max(to.width) {
            let length = (to.width / from.width).ln().abs() / rho;
            return Self { from, to, rho, begin: None, length };
        }
        let square = rho * rho;
        // w1² - w0² as a product: a difference of squares loses its digits where the widths are near one another.
        let grown = (to.width - from.width) * (to.width + from.width);
        let reach = square * square * distance * distance;
        let begin = -((grown + reach) / (2.0 * from.width * square * distance)).asinh();
        let end = -((grown - reach) / (2.0 * to.width * square * distance)).asinh();
        Self { from, to, rho, begin: Some(begin), length: (end - begin) / rho }
    }

    /// Its length in the eye's measure; 0 between equal views.
    #[must_use]
    pub fn length(&self) -> f64 {
        self.length
    }

    /// The view at a share of the length, 0 to 1; beyond either the curve goes on. Ends are exact.
    #[must_use]
    pub fn at(&self, share: f64) -> View {
        if share == 0.0 {
            return self.from;
        }
        if share == 1.0 {
            return self.to;
        }
        let Some(begin) = self.begin else {
            let width = self.from.width * ((self.to.width / self.from.width).ln() * share).exp();
            return View { point: self.from.point.lerp(self.to.point, share), width };
        };
        let now = begin + self.rho * self.length * share;
        // (cosh r0 tanh r - sinh r0) is sinh(r - r0) / cosh r, without the difference of large numbers.
        let gone = self.from.width / (self.rho * self.rho) * (now - begin).sinh() / now.cosh();
        let distance = self.from.point.distance(self.to.point);
        View {
            point: self.from.point + (self.to.point - self.from.point) * (gone / distance),
            width: self.from.width * begin.cosh() / now.cosh(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn view(x: f64, y: f64, width: f64) -> View {
        View { point: Point::new(x, y), width }
    }

    fn near(seen: f64, due: f64) -> bool {
        (seen - due).abs() <= 1e-9 * due.abs().max(1.0)
    }

    const SHARES: [f64; 5] = [0.1, 0.25, 0.5, 0.75, 0.9];

    #[test]
    fn it_has_the_values_of_d3_interpolates_zoom() {
        // npm d3-interpolate 3.0.2, interpolateZoom; widths, points and lengths.
        type Case = (View, View, f64, [(f64, f64, f64); 5], f64);
        let b = (view(30.0, 30.0, 40.0), view(135.0, 85.0, 60.0));
        let cases: [Case; 5] = [
            (
                view(0.0, 0.0, 100.0),
                view(1000.0, 0.0, 100.0),
                Flight::RHO,
                [
                    (5.7326676479591, 0.0, 181.10554016481),
                    (45.249378105604, 0.0, 427.55992275544),
                    (500.0, 0.0, 1004.9875621121),
                    (954.7506218944, 0.0, 427.55992275544),
                    (994.26733235204, 0.0, 181.10554016481),
                ],
                4.24012755932966,
            ),
            (
                b.0,
                b.1,
                Flight::RHO,
                [
                    (32.447762252359, 31.282161179807, 54.094525962523),
                    (40.117580129378, 35.299684829674, 81.769320536386),
                    (72.0, 52.0, 126.04761005271),
                    (114.68261995449, 74.357562833304, 109.46875571409),
                    (129.64847841468, 82.196822026739, 78.844264949055),
                ],
                2.29131568444722,
            ),
            (
                view(1000.0, 800.0, 4608.0),
                view(3600.0, 2600.0, 1920.0),
                Flight::RHO,
                [
                    (1370.4179250224, 1056.4431788617, 4860.1008153245),
                    (1966.5757391445, 1469.1678194077, 4904.332162748),
                    (2835.2941176471, 2070.5882352941, 4141.4802027652),
                    (3357.776113259, 2432.3065399485, 2949.6616152556),
                    (3527.1096340809, 2549.5374389791, 2295.2746262127),
                ],
                1.39577596245395,
            ),
            (
                b.0,
                b.1,
                1.0,
                [
                    (34.452867442995, 32.332454374902, 47.490885683275),
                    (44.486045497808, 37.58792859409, 59.55563240853),
                    (72.0, 52.0, 75.97367965289),
                    (107.20050226154, 70.438358327476, 76.193633783801),
                    (125.48541928538, 80.016172006627, 67.650170865847),
                ],
                2.06612291226549,
            ),
            (
                b.0,
                b.1,
                2.0,
                [
                    (31.077975907317, 30.56465404669, 62.487871621755),
                    (36.056547343638, 33.172477180001, 118.04321338952),
                    (72.0, 52.0, 237.38576199932),
                    (122.28923679941, 78.341981180644, 165.15673014118),
                    (132.60528568869, 83.745625836931, 92.544183619488),
                ],
                2.28125083454654,
            ),
        ];
        for (from, to, rho, views, length) in cases {
            let flight = Flight::new(from, to, rho);
            assert!(near(flight.length(), length), "{} for {length}", flight.length());
            for (share, due) in SHARES.iter().zip(views) {
                let seen = flight.at(*share);
                // The table has 13 or 14 digits.
                assert!(
                    near(seen.point.x, due.0) && near(seen.point.y, due.1) && near(seen.width, due.2),
                    "{seen:?} {due:?}"
                );
            }
        }
    }

    #[test]
    fn over_one_point_it_is_a_zoom_by_ratio() {
        for (from, to, widths, length) in [
            (
                4608.0,
                1920.0,
                [4221.7386672681, 3702.198154497, 2974.4512098873, 2389.7586327878, 2095.6673771864],
                0.619049880899767,
            ),
            (
                1.0,
                10.0,
                [1.2589254117942, 1.7782794100389, 3.1622776601684, 5.6234132519035, 7.9432823472428],
                1.62817353351515,
            ),
        ] {
            let flight = Flight::new(view(2304.0, 1728.0, from), view(2304.0, 1728.0, to), Flight::RHO);
            assert!(near(flight.length(), length));
            for (share, width) in SHARES.iter().zip(widths) {
                assert!(near(flight.at(*share).width, width));
                assert_eq!(flight.at(*share).point, Point::new(2304.0, 1728.0));
            }
        }
    }

    #[test]
    fn between_points_all_but_at_one_place_nothing_is_lost() {
        // d3-interpolate's own regression for near-coincident centres.
        let from = view(324.68721096803614, 59.43501602433761, 1.8827137399562621);
        let to = view(324.6872108946794, 59.43501601062763, 7.399052110984391);
        let flight = Flight::new(from, to, Flight::RHO);
        assert!(near(flight.at(0.5).width, 3.73233131862683) && near(flight.length(), 0.967772987462072));
    }

    #[test]
    fn a_small_rho_sets_off_where_it_should() {
        // The textbook's ln(-b + sqrt(b² + 1)) begins at 29.9979 here.
        let flight = Flight::new(view(30.0, 30.0, 40.0), view(135.0, 85.0, 60.0), 1e-3);
        assert!(
            (flight.at(1e-12).point.x - 30.0).abs() < 1e-6 && (flight.at(1.0 - 1e-12).point.x - 135.0).abs() < 1e-6
        );
    }

    #[test]
    fn equal_views_are_a_way_of_no_length() {
        let here = view(10.0, 20.0, 30.0);
        let flight = Flight::new(here, here, Flight::RHO);
        assert_eq!((flight.length(), flight.at(0.3)), (0.0, here));
    }

    proptest::proptest! {
        #[test]
        fn it_moves_at_one_speed_in_the_eyes_measure(
            from in (0.0..4000.0_f64, 0.0..3000.0_f64, 20.0..4000.0_f64), to in (0.0..4000.0_f64, 0.0..3000.0_f64, 20.0..4000.0_f64),
            rho in 0.3..2.5_f64, share in 0.01..0.99_f64,
        ) {
            let flight = Flight::new(view(from.0, from.1, from.2), view(to.0, to.1, to.2), rho);
            let step = 1e-5 / flight.length().max(1e-2);
            let (before, at, after) = (flight.at(share - step), flight.at(share), flight.at(share + step));
            let by = 2.0 * step * flight.length();
            let (pan, zoom) = (before.point.distance(after.point) / by, (after.width - before.width) / by);
            let square = (rho * pan / at.width).powi(2) + (zoom / (rho * at.width)).powi(2);
            proptest::prop_assert!((square - 1.0).abs() < 1e-5, "{}", square);
            proptest::prop_assert!(flight.at(0.0) == view(from.0, from.1, from.2));
        }
    }
}
