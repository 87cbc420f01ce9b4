// A foot with a pot magnet below and a swivel eye on top: a wire's end on a frame rail or any flat steel. The rim keeps the magnet
// from sliding, the notch marks the scribed cross.
//
//   openscad -o foot.stl -D magnet_diameter=32 magnet-foot.scad

include <common.scad>

magnet_diameter = 32;   // pot magnet, M6 stud or thread
magnet_height = 8;
rim = 4;
top_thick = 6;
stud = 6;

module foot() {
    outside = magnet_diameter + 2 * rim;
    difference() {
        // The magnet stands out by half a millimetre: steel touches steel.
        cylinder(d1 = outside - 6, d2 = outside, h = top_thick + magnet_height - 0.5);
        translate([0, 0, top_thick]) cylinder(d = magnet_diameter + play, h = magnet_height + 1);
        translate([0, 0, -1]) cylinder(d = stud + play, h = top_thick + 2);
        // Four notches at the foot, over the arms of the scribed cross.
        for (turn = [0:90:270]) rotate([0, 0, turn])
            translate([outside / 2 - 2, -1, top_thick + magnet_height - 2.5]) cube([4, 2, 3]);
    }
}

foot();
