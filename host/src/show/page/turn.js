// The view that a hand, a mouse or keys turn: lines in space drawn as SVG, nearer ones over farther ones.
const SVG = "http://www.w3.org/2000/svg";
// About the upright axis and about the sideways axis, rad: where the eye is.
const VIEWS = { corner: [-2.5, 0.35], side: [-Math.PI / 2, 0], rear: [Math.PI, 0], plan: [Math.PI, Math.PI / 2] };
const STEP = Math.PI / 36;
const WIDTH = 640, HEIGHT = 440;

export class Turn {
  constructor(figure) {
    this.stage = figure.querySelector(".stage");
    this.svg = document.createElementNS(SVG, "svg");
    this.svg.setAttribute("viewBox", `0 0 ${WIDTH} ${HEIGHT}`);
    this.svg.setAttribute("aria-hidden", "true");
    this.stage.append(this.svg);
    [this.yaw, this.tip] = VIEWS.corner;
    this.zoom = 1;
    this.fingers = new Map();
    for (const button of figure.querySelectorAll("button[data-view]")) {
      button.addEventListener("click", () => {
        [this.yaw, this.tip] = VIEWS[button.dataset.view];
        this.draw();
      });
    }
    this.stage.addEventListener("keydown", (event) => this.key(event));
    this.stage.addEventListener("pointerdown", (event) => {
      this.stage.setPointerCapture(event.pointerId);
      this.fingers.set(event.pointerId, [event.clientX, event.clientY]);
    });
    this.stage.addEventListener("pointermove", (event) => this.moved(event));
    for (const end of ["pointerup", "pointercancel"]) {
      this.stage.addEventListener(end, (event) => this.fingers.delete(event.pointerId));
    }
    this.stage.addEventListener("wheel", (event) => {
      if (document.activeElement !== this.stage) return;
      event.preventDefault();
      this.enlarge(event.deltaY < 0 ? 1.1 : 1 / 1.1);
    }, { passive: false });
    this.show(JSON.parse(figure.dataset.model));
  }

  key(event) {
    const turns = { ArrowLeft: [-STEP, 0], ArrowRight: [STEP, 0], ArrowUp: [0, STEP], ArrowDown: [0, -STEP] };
    if (turns[event.key]) {
      this.turnBy(...turns[event.key]);
    } else if (event.key === "+" || event.key === "=") {
      this.enlarge(1.1);
    } else if (event.key === "-") {
      this.enlarge(1 / 1.1);
    } else {
      return;
    }
    event.preventDefault();
  }

  moved(event) {
    const before = this.fingers.get(event.pointerId);
    if (!before) return;
    const spread = () => {
      const [a, b] = [...this.fingers.values()];
      return Math.hypot(a[0] - b[0], a[1] - b[1]);
    };
    const now = [event.clientX, event.clientY];
    if (this.fingers.size === 2) {
      const apart = spread();
      this.fingers.set(event.pointerId, now);
      if (apart > 0) this.enlarge(spread() / apart);
      return;
    }
    this.fingers.set(event.pointerId, now);
    this.turnBy((now[0] - before[0]) / 120, (now[1] - before[1]) / 120);
  }

  turnBy(yaw, tip) {
    this.yaw += yaw;
    this.tip = Math.min(Math.PI / 2, Math.max(-Math.PI / 2, this.tip + tip));
    this.draw();
  }

  enlarge(factor) {
    this.zoom = Math.min(6, Math.max(0.4, this.zoom * factor));
    this.draw();
  }

  show(model) {
    this.lines = model.lines;
    const all = this.lines.flatMap((line) => line.points_m);
    if (!this.middle) {
      const range = [0, 1, 2].map((k) => {
        const values = all.map((p) => p[k]);
        return [Math.min(...values), Math.max(...values)];
      });
      this.middle = range.map(([low, high]) => (low + high) / 2);
      this.size = Math.hypot(...range.map(([low, high]) => high - low));
    }
    this.draw();
  }

  // Right, up and towards the eye, m. The vehicle's x is forward, y to the left, z up.
  seen([x, y, z]) {
    const [a, b, c] = [x - this.middle[0], y - this.middle[1], z - this.middle[2]];
    const [sin, cos] = [Math.sin(this.yaw), Math.cos(this.yaw)];
    const towards = a * cos + b * sin, right = -a * sin + b * cos;
    const [down, along] = [Math.sin(this.tip), Math.cos(this.tip)];
    return [right, c * along - towards * down, towards * along + c * down];
  }

  draw() {
    const scale = (this.zoom * 0.92 * Math.min(WIDTH, HEIGHT * 1.25)) / this.size;
    const drawn = this.lines.map((line) => {
      const points = line.points_m.map((p) => this.seen(p));
      const depth = points.reduce((sum, p) => sum + p[2], 0) / points.length;
      const flat = points.map((p) => {
        // A little perspective tells near from far.
        const near = 1 / (1 - p[2] / (5 * this.size));
        return `${(WIDTH / 2 + p[0] * scale * near).toFixed(1)},${(HEIGHT / 2 - p[1] * scale * near).toFixed(1)}`;
      });
      return { line, flat, depth };
    });
    drawn.sort((p, q) => p.depth - q.depth);
    const parts = drawn.map(({ line, flat }) => {
      const polyline = document.createElementNS(SVG, "polyline");
      polyline.setAttribute("points", flat.join(" "));
      polyline.setAttribute("class", `${line.part} look-${line.look}`);
      const title = document.createElementNS(SVG, "title");
      title.textContent = line.look === "now" ? line.name : `${line.name}, ${line.look}`;
      polyline.append(title);
      const joints = line.part === "link" ? flat.map((p) => joint(p, line.look)) : [];
      return [polyline, ...joints];
    });
    this.svg.replaceChildren(...parts.flat());
  }
}

function joint(at, look) {
  const circle = document.createElementNS(SVG, "circle");
  const [x, y] = at.split(",");
  circle.setAttribute("cx", x);
  circle.setAttribute("cy", y);
  circle.setAttribute("r", 4);
  circle.setAttribute("class", `joint look-${look}`);
  return circle;
}

export function turns() {
  return [...document.querySelectorAll("figure.turn")].map((figure) => new Turn(figure));
}
