// A run's page: the measured axle and the drawn one, in space.
import { turns } from "/assets/turn.js";

turns();
