"""Reference answers for the mooring mechanics, by SciPy.

  python3 reference.py > reference.json    write them anew
  python3 reference.py --check             compare them with reference.json

Two parts, written from the physics and sharing nothing with the Go code but the
load-elongation law T/MBL = soft s + (1 - soft) s^2, s = strain/strain at break:

  lines      one line of main and tail between fairlead and hook, hanging by its
             weight, each piece at its own tension: the catenary's differential
             equation, integrated and shot to the hook
  moorings   ships on straight lines without weight and on fenders: the place
             where the potential energy is least
"""

import json
import sys

import numpy as np
from scipy.integrate import solve_ivp
from scipy.optimize import brentq, fsolve, minimize

G = 9.80665


def strain(rope, t):
    eb, soft, mbl = rope["break_strain"], rope["soft"], rope["mbl_kN"]
    if soft == 1:
        return eb * t / mbl
    return eb * (-soft + np.sqrt(soft**2 + 4 * (1 - soft) * t / mbl)) / (2 * (1 - soft))


def ends(line):
    """Level pull and the loads at fairlead and hook, kN."""
    main, tail = line["main"], line.get("tail")
    tail_m = tail["length_m"] if tail else 0.0
    level, drop = line["level_m"], line["drop_m"]

    def hang(level_pull, upright):
        # Upright: the pull's upright part, which its own weight lets grow along the line.
        t0 = np.hypot(level_pull, upright)
        pieces = [(main, line["unstretched_m"] - tail_m - line["inboard_m"] / (1 + strain(main, t0)))]
        if tail:
            pieces.append((tail, tail_m))
        x = z = 0.0
        v = upright
        for rope, length in pieces:
            w = rope["kg_per_m"] * G / 1e3

            def slope(s, y):
                at = v + w * s
                t = np.hypot(level_pull, at)
                grow = (1 + strain(rope, t)) / t
                return [grow * level_pull, grow * at]

            end = solve_ivp(slope, [0, length], [x, z], rtol=1e-10, atol=1e-10).y[:, -1]
            x, z = end
            v += w * length
        return x, z, t0, np.hypot(level_pull, v)

    def miss(q):
        x, z, _, _ = hang(np.exp(q[0]), q[1])
        return [x - level, z - drop]

    start = [np.log(line["guess_kN"]), line["guess_kN"] * drop / level - 1.0]
    q, _, ok, why = fsolve(miss, start, xtol=1e-12, full_output=True)
    assert ok == 1 or np.abs(miss(q)).max() < 1e-7, why
    _, _, fairlead, hook = hang(np.exp(q[0]), q[1])
    return {"level_kN": np.exp(q[0]), "fairlead_kN": fairlead, "hook_kN": hook}


WIRE = {"break_strain": 0.02, "soft": 0.9, "mbl_kN": 1140, "kg_per_m": 7.2}
HMPE = {"break_strain": 0.035, "soft": 0.8, "mbl_kN": 1000, "kg_per_m": 0.7}
POLYESTER = {"break_strain": 0.12, "soft": 0.5, "mbl_kN": 1300, "kg_per_m": 5.4}
POLYAMIDE = {"break_strain": 0.20, "soft": 0.3, "mbl_kN": 1570, "kg_per_m": 4.7}


def lines():
    out = []
    for name, main, tail in [
        ("wire", WIRE, None),
        ("wire and polyamide", WIRE, {**POLYAMIDE, "length_m": 11}),
        ("hmpe and polyester", HMPE, {**POLYESTER, "length_m": 11}),
        ("polyamide", POLYAMIDE, None),
    ]:
        for level, drop, inboard in [(55, -9, 18), (70, -2, 10), (30, 4, 12)]:
            run = np.hypot(level, drop)
            for extra, guess in [(-0.9, 300), (-0.3, 100), (0.0, 30), (0.3, 5), (2.0, 3)]:
                line = {"name": f"{name}, {level} m, {extra:+g} m", "main": main, "level_m": level,
                        "drop_m": drop, "inboard_m": inboard,
                        "unstretched_m": run + inboard + extra, "guess_kN": guess}
                if tail:
                    line["tail"] = tail
                out.append({**line, **ends(line)})
                del out[-1]["guess_kN"]
    return out


def tension(line, stretch):
    """Load of main and tail in series drawn out by this much, kN."""
    if stretch <= 0:
        return 0.0
    main, tail = line["main"], line.get("tail")
    tail_m = tail["length_m"] if tail else 0.0
    main_m = line["unstretched_m"] - tail_m

    def short(t):
        return main_m * strain(main, t) + (tail_m * strain(tail, t) if tail else 0) - stretch

    return brentq(short, 0, 50 * main["mbl_kN"], xtol=1e-12, rtol=1e-14)


def stored(line, t):
    """Energy of a line at a load, kJ: load times stretch, less the area beside the curve."""

    def under(rope, length):
        s = strain(rope, t) / rope["break_strain"]
        soft = rope["soft"]
        return length * rope["mbl_kN"] * rope["break_strain"] * (soft * s**2 / 2 + (1 - soft) * s**3 / 3)

    tail = line.get("tail")
    tail_m = tail["length_m"] if tail else 0.0
    return under(line["main"], line["unstretched_m"] - tail_m) + (under(tail, tail_m) if tail else 0)


def place(m, q):
    """Tensions by line and the potential energy with the ship at q, yaw on a lever."""
    surge, sway, yaw = q[0], q[1], q[2] / m["lever_m"]
    cx, cy = m["centre_m"]
    cos, sin = np.cos(yaw), np.sin(yaw)
    energy = -(m["force"][0] * surge + m["force"][1] * sway + m["force"][2] * yaw)
    pulls = []
    for line in m["lines"]:
        fx, fy, fz = line["fairlead_m"]
        dx, dy = fx - cx, fy - cy
        at = np.array([cx + surge + cos * dx - sin * dy, cy + sway + sin * dx + cos * dy, fz])
        run = np.linalg.norm(np.array(line["hook_m"]) - at)
        t = tension(line, run + line["inboard_m"] - line["unstretched_m"])
        pulls.append(t)
        energy += stored(line, t)
    for f in m["fenders"]:
        # The side is the turned line through the point abeam of the centre.
        side = cy + sway - cy * cos + np.tan(yaw) * (f["x_m"] - (cx + surge + cy * sin))
        energy += f["kN_per_m"] * min(side, 0) ** 2 / 2
    return pulls, energy


def moorings():
    rng = np.random.default_rng(20260301)
    out = []
    for number in range(8):
        length = rng.uniform(80, 330)
        beam = length / rng.uniform(5.5, 7)
        mbl = 3.2 * length
        m = {"name": f"mooring {number + 1}", "loa_m": length, "beam_m": beam, "lines": [], "fenders": []}
        for x in (-0.25, -0.1, 0.1, 0.25):
            m["fenders"].append({"x_m": x * length, "kN_per_m": mbl * rng.uniform(3, 8)})
        ends_at = 0.47 * length
        for x, out_x, out_y, across in [(0.47, 0.2, -0.17, 0.05), (0.36, 0.02, -0.17, 0.02), (0.3, -0.22, -0.03, 0),
                                        (-0.3, 0.22, -0.03, 0), (-0.38, -0.02, -0.17, 0.02), (-0.47, -0.2, -0.17, 0.05)]:
            for pair in (0, 1):
                main = rng.choice([WIRE, HMPE, POLYESTER, POLYAMIDE])
                line = {"main": {**main, "mbl_kN": mbl, "kg_per_m": 0.0},
                        "fairlead_m": [x * length - 2 * pair, across * length, 10 + rng.uniform(0, 6)],
                        "hook_m": [(x + out_x) * length - 2 * pair, out_y * length, rng.uniform(4, 7)],
                        "inboard_m": rng.uniform(5, 20)}
                if main is WIRE or main is HMPE:
                    line["tail"] = {**POLYAMIDE, "mbl_kN": 1.3 * mbl, "kg_per_m": 0.0, "length_m": 11.0}
                run = np.linalg.norm(np.subtract(line["hook_m"], line["fairlead_m"]))
                line["unstretched_m"] = run + line["inboard_m"] + rng.uniform(-0.012, 0.004) * run
                m["lines"].append(line)
        m["centre_m"] = [(ends_at + -ends_at - 2) / 2, beam / 2]
        m["lever_m"] = length / 4
        m["force"] = [rng.uniform(-0.4, 0.4) * mbl, rng.uniform(-2, 2) * mbl, rng.uniform(-0.3, 0.3) * mbl * length]
        q = np.zeros(3)
        for _ in range(4):  # each from where the last one ended, with a new simplex
            q = minimize(lambda q: place(m, q)[1], q, method="Nelder-Mead",
                         options={"xatol": 1e-9, "fatol": 1e-11, "maxiter": 4000}).x
        m["surge_m"], m["sway_m"], m["yaw_rad"] = q[0], q[1], q[2] / m["lever_m"]
        m["tension_kN"] = place(m, q)[0]
        del m["centre_m"], m["lever_m"]
        out.append(m)
    return out


def rounded(v):
    if isinstance(v, dict):
        return {k: rounded(x) for k, x in v.items()}
    if isinstance(v, (list, tuple)):
        return [rounded(x) for x in v]
    return float(f"{v:.9g}") if isinstance(v, (float, np.floating)) else v


def differ(a, b, path=""):
    """The first place where two answers are further apart than the methods are good for."""
    if isinstance(a, dict):
        return next(filter(None, (differ(a[k], b.get(k), f"{path}.{k}") for k in a)), None)
    if isinstance(a, list):
        if len(a) != len(b):
            return path
        return next(filter(None, (differ(x, y, f"{path}[{i}]") for i, (x, y) in enumerate(zip(a, b)))), None)
    if isinstance(a, float):
        return None if abs(a - b) <= 1e-3 * abs(b) + 1e-3 else f"{path}: {a} here, {b} in reference.json"
    return None if a == b else path


if __name__ == "__main__":
    answers = rounded({"lines": lines(), "moorings": moorings()})
    if "--check" in sys.argv:
        where = differ(answers, json.load(open(sys.path[0] + "/reference.json")))
        sys.exit(where and f"reference.json is not what this script gives: {where}")
    json.dump(answers, sys.stdout, indent=1)
    print()
