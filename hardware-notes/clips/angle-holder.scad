// Holds an AS5600-class breakout board over the magnet on a pivot bolt's end: a cap that turns with the bracket, and a pin that
// centres the board while the glue sets.
//
//   openscad -o holder.stl -D bolt_head=24 angle-holder.scad

include <common.scad>

bolt_head = 24;         // across corners of the bolt's head that carries the magnet
head_height = 10;
gap = 1.5;              // magnet to chip: 0.5 to 3 will do, 1 to 2 is best
magnet_height = 2.5;
board = [23, 23, 1.6];  // the breakout board
chip_height = 1.2;      // the chip stands so high on its board
wall = 3;

module holder() {
    inside = bolt_head + 2;
    depth = head_height + magnet_height + gap + chip_height;
    difference() {
        union() {
            cylinder(d = inside + 2 * wall, h = depth);
            translate([0, 0, depth + board[2] / 2])
                cube([board[0] + 2 * wall, board[1] + 2 * wall, board[2]], center = true);
        }
        translate([0, 0, -1]) cylinder(d = inside, h = depth + 2);
        translate([0, 0, depth + board[2] / 2]) cube([board[0] + play, board[1] + play, board[2] + 1], center = true);
        // Cable, and a look at the gap.
        translate([0, 0, depth - 3]) rotate([0, 90, 0]) cylinder(d = 4, h = inside);
        // A cable tie around the bracket.
        for (side = [-1, 1]) translate([0, side * (inside / 2 + wall / 2), 4]) rotate([0, 0, 90]) band_slot(2, 4, 8);
    }
}

holder();
