// A saddle that carries a draw-wire's eye, or its body, on a round tube: axle tube, link or cross member. Two hose bands hold it.
// It sits in a V, so that one saddle fits that tube and all thinner ones, and always stands on two lines.
//
//   openscad -o saddle.stl -D tube_diameter=76 tube-saddle.scad

include <common.scad>

tube_diameter = 76;     // of the thickest tube it shall fit
length = 50;            // along the tube
floor_thick = 8;        // between the V and the top
stud = 6;               // M6 eye bolt for the wire's end
band = [14, 2];         // width and thickness of a hose band

// The V touches the tube 45 degrees from its bottom: a little wider than that.
width = 0.75 * tube_diameter;

module saddle() {
    difference() {
        translate([-width / 2, -length / 2, 0]) cube([width, length, floor_thick + width / 2]);
        // The V: 90 degrees, its edge along the tube.
        translate([0, 0, floor_thick + width / 2]) rotate([0, 45, 0])
            cube([width / sqrt(2), length + 2, width / sqrt(2)], center = true);
        // The stud and its nut, sunk from the V's side.
        translate([0, 0, -1]) cylinder(d = stud + play, h = floor_thick + width);
        translate([0, 0, floor_thick - 4]) nut_trap(10, width);
        for (side = [-1, 1]) translate([0, side * (length / 2 - band[0] / 2 - 4), floor_thick / 2])
            rotate([0, 0, 90]) band_slot(band[0], band[1] + play, width + 2);
    }
}

saddle();
