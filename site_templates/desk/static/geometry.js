// Places on the disc and in the picture. Angles as everywhere: from the picture's up, counter-clockwise, un-mirrored.

const SUN_DISTANCE_RADII = 214.94; // 1 au in solar radii
const LIMB_RADII = Math.sqrt(SUN_DISTANCE_RADII ** 2 - 1);
const RAD = Math.PI / 180;

/** The larger than 180 wrapped, as the record has it. */
export function wrapped(angle) {
  const turned = ((((angle + 180) % 360) + 360) % 360) - 180;
  return turned === -180 ? 180 : turned;
}

/** How a disc lies in its picture: places of the disc, west and north in radii, to pixels and back. */
export class WayUp {
  constructor(disc, north, mirrored) {
    const turn = north * RAD;
    const sense = mirrored ? -1 : 1;
    // Columns: where west and north point, as right and up.
    const turned = [
      [sense * Math.cos(turn), -sense * Math.sin(turn)],
      [Math.sin(turn), Math.cos(turn)],
    ];
    const short = disc.short_axis_angle_deg * RAD;
    const axis = [-Math.sin(short), Math.cos(short)];
    const flat = [0, 1].map((row) => [0, 1].map((column) => (row === column ? 1 : 0) - disc.flattening * axis[row] * axis[column]));
    const right = [0, 1].map((column) => flat[0][0] * turned[0][column] + flat[0][1] * turned[1][column]);
    const up = [0, 1].map((column) => flat[1][0] * turned[0][column] + flat[1][1] * turned[1][column]);
    this.disc = disc;
    this.right = right;
    this.up = up;
  }

  toPicture(west, north) {
    const { x_px, y_px, radius_px } = this.disc;
    return [
      x_px + radius_px * (this.right[0] * west + this.right[1] * north),
      y_px - radius_px * (this.up[0] * west + this.up[1] * north),
    ];
  }

  /** For SVG: a north-up picture of 1024 px whose disc has a radius of 460.8 px about its middle. */
  matrixOfFrame() {
    const scale = this.disc.radius_px / 460.8;
    const [a, c] = [this.right[0] * scale, -this.right[1] * scale];
    const [b, d] = [-this.up[0] * scale, this.up[1] * scale];
    const { x_px, y_px } = this.disc;
    return [a, b, c, d, x_px - (a + c) * 511.5, y_px - (b + d) * 511.5];
  }
}

/** The direction in the picture, from up and counter-clockwise, of a place seen from the disc's middle. */
export function directionAt(disc, x, y, mirrored) {
  const right = (x - disc.x_px) * (mirrored ? -1 : 1);
  return Math.atan2(-right, disc.y_px - y) / RAD;
}

/** West, north (radii) and whether it is on the near side, of a place on the Sun. */
export function onDisc(latitude, meridian, b0) {
  const [la, me, b] = [latitude * RAD, meridian * RAD, b0 * RAD];
  const x = Math.cos(la) * Math.sin(me);
  const y = Math.sin(la) * Math.cos(b) - Math.cos(la) * Math.cos(me) * Math.sin(b);
  const towards = Math.sin(la) * Math.sin(b) + Math.cos(la) * Math.cos(me) * Math.cos(b);
  const scale = LIMB_RADII / (SUN_DISTANCE_RADII - towards);
  return [x * scale, y * scale, SUN_DISTANCE_RADII * towards > 1];
}

/** Lines of latitude and longitude, every so many degrees, as lists of places in the picture. */
export function gridLines(wayUp, b0, step) {
  const lines = [];
  const add = (main, place) => {
    let run = [];
    for (let at = -90; at <= 90; at += 2) {
      const [west, north, near] = onDisc(...place(at), b0);
      if (near) run.push(wayUp.toPicture(west, north));
      else if (run.length) {
        lines.push({ main, run });
        run = [];
      }
    }
    if (run.length > 1) lines.push({ main, run });
  };
  for (let at = -90 + step; at < 90; at += step) {
    add(at === 0, (meridian) => [at, meridian]);
    add(at === 0, (latitude) => [latitude, at]);
  }
  return lines;
}
