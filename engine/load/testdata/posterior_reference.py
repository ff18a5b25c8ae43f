#!/usr/bin/env python3
"""Reference values for the posterior, worked out another way than the package does.

The package inverts the covariance of the performances. Here every shared error (the
person's bias, trend, each stretch of the walk, each day, each day's reports, the loss
of a layoff) is an unknown of its own, the normal equations of all unknowns are solved
by Gauss-Jordan elimination, and the curve's error alone stays in the covariance of the
performances. The curves are laid through their anchors again. Plain arithmetic and the
math module only; run: python3 posterior_reference.py > posterior_reference.json
"""
import json
import math

ANCHORS = {
    "bench": [(10, 10000), (40, 9000), (88, 8000), (141, 7000), (217, 6000), (369, 4000), (400, 3650)],
    "squat": [(10, 10000), (50, 9000), (108, 8000), (175, 7000), (256, 6000), (400, 4600)],
    "leg-press": [(10, 10000), (70, 9000), (131, 8000), (190, 7000), (339, 6000), (400, 5600)],
}
SHAPE = {"bench": 0.060, "squat": 0.080, "leg-press": 0.150}
TREND = {"novice": 0.01, "intermediate": 0.00375, "advanced": 0.00125}
WALK = {"novice": 0.008, "intermediate": 0.005, "advanced": 0.003}


def grid(anchors):
    xs, ys = [a[0] for a in anchors], [a[1] for a in anchors]
    n = len(xs)
    h = [xs[i + 1] - xs[i] for i in range(n - 1)]
    d = [(ys[i + 1] - ys[i]) / h[i] for i in range(n - 1)]

    def end(h0, h1, d0, d1):
        s = ((2 * h0 + h1) * d0 - h0 * d1) / (h0 + h1)
        return 0 if s >= 0 else max(s, 3 * d0)

    m = [0.0] * n
    for i in range(1, n - 1):
        w1, w2 = 2 * h[i] + h[i - 1], h[i] + 2 * h[i - 1]
        m[i] = (w1 + w2) / (w1 / d[i - 1] + w2 / d[i])
    m[0], m[-1] = end(h[0], h[1], d[0], d[1]), end(h[-1], h[-2], d[-1], d[-2])
    out = []
    for x in range(10, 374):
        k = max(i for i in range(n - 1) if xs[i] < x or i == 0)
        t = (x - xs[k]) / h[k]
        v = ((1 + 2 * t) * (1 - t) ** 2 * ys[k] + t * (1 - t) ** 2 * h[k] * m[k]
             + t * t * (3 - 2 * t) * ys[k + 1] + t * t * (t - 1) * h[k] * m[k + 1])
        out.append(int(v + 0.5))
    return out


def level(g, reps):
    pos = reps * 10 - 10
    i = min(max(int(pos), 0), len(g) - 2)
    return g[i] + (pos - i) * (g[i + 1] - g[i])


def log_curve(g, reps):
    at = min(reps, 37.3)
    lo, hi = max(1.0, at - 0.5), min(37.3, at + 0.5)
    fall = (level(g, lo) - level(g, hi)) / (hi - lo) / level(g, at)
    return math.log(level(g, at) / 10000) - fall * (reps - at), fall


def invert(a):
    n = len(a)
    w = [row[:] + [1.0 if i == j else 0.0 for j in range(n)] for i, row in enumerate(a)]
    for c in range(n):
        p = max(range(c, n), key=lambda r: abs(w[r][c]))
        w[c], w[p] = w[p], w[c]
        w[c] = [v / w[c][c] for v in w[c]]
        for r in range(n):
            if r != c:
                f = w[r][c]
                w[r] = [x - f * y for x, y in zip(w[r], w[c])]
    return [row[n:] for row in w]


def loss(days):
    return min(0.20, max(0.0, (days - 14) // 1 * 100 // 7 / 10000)) if days > 14 else 0.0


def posterior(case):
    g, status, prior = grid(ANCHORS[case["family"]]), case["status"], case["prior"]
    off = prior.get("layoff_weeks", 0) * 7
    obs = []
    for o in case["observations"]:
        kind, n, rir, u = "failed", o["reps"], 0, 0.0
        if o.get("tested"):
            kind = "test"
        elif o.get("failure"):
            pass
        elif "rir" in o:
            kind, rir = "reported", o["rir"]
            u = 0.5 if rir == 0 else 1.0
            n = n + rir + 0.95 * u
        else:
            kind, n = "silent", n + 1.0
        lost = loss(off) - loss(max(0, off - o["age_days"]))
        obs.append(dict(kind=kind, n=n, rir=rir, u=u, age=o["age_days"], lost=lost,
                        log=math.log(o["grams"]) + math.log(1 - lost)))
    ages = sorted({o["age"] for o in obs})
    names = ["m", "l", "bias", "trend", "loss"]
    stops = [0] + [a for a in ages if a > 0]
    names += ["walk%d" % a for a in stops[1:]] + ["day%d" % a for a in ages] + ["report%d" % a for a in ages]
    at = {n: i for i, n in enumerate(names)}
    size = len(names)
    l0 = math.log(prior["slope"] / 1000)
    l = l0
    mode = None
    for _ in range(8):
        start = min(math.log(2), max(math.log(0.5), l))
        slope = math.exp(start)
        rows, ys, cov = [], [], []
        for o in obs:
            about = o["n"]
            if mode is not None and o["kind"] != "test":  # the repetitions foretold
                lo, hi = 1.0, 200.0
                for _ in range(80):
                    mid = (lo + hi) / 2
                    lo, hi = (mid, hi) if log_curve(g, mid)[0] > o["log"] - mode else (lo, mid)
                about = max(1.0, o["n"] / 1.5, min(o["n"] * 1.5, 1 + (lo - 1) * slope))
            o["about"] = about
            v, k = log_curve(g, 1 + (about - 1) / slope)
            k /= slope
            row = [0.0] * size
            row[at["m"]], row[at["l"]] = 1.0, k * (about - 1)
            row[at["bias"]] = k * o["u"]
            row[at["trend"]] = TREND[status] * min(o["age"] / 7, 52)
            row[at["loss"]] = o["lost"] / 2
            for a, b in zip(stops, stops[1:]):
                if b <= o["age"]:
                    row[at["walk%d" % b]] = WALK[status] * math.sqrt((b - a) / 7)
            row[at["day%d" % o["age"]]] = 0.02
            if o["kind"] == "reported":
                row[at["report%d" % o["age"]]] = k * (0.5 + 0.25 * o["rir"])
            own = 0.015 ** 2
            if o["kind"] != "test":
                reps = 0.25 + (0.06 * about) ** 2 + 1 / 12
                if o["kind"] == "reported":
                    reps += (0.5 + 0.25 * o["rir"]) ** 2
                if o["kind"] == "silent":
                    reps += 1.5 ** 2
                own += k * k * reps
            o["own"], o["shape"] = own, SHAPE[case["family"]] * -v
            rows.append(row)
            ys.append(o["log"] - v + k * (o["n"] - about) + row[at["l"]] * start)  # = m + h l + errors
        for i, a in enumerate(obs):
            cov.append([])
            for j, b in enumerate(obs):
                c = a["own"] if i == j else 0.0
                if "test" not in (a["kind"], b["kind"]):
                    c += a["shape"] * b["shape"] * max(0, 1 - abs(a["about"] - b["about"]) / 8)
                cov[i].append(c)
        w = invert(cov)
        mean = [0.0] * size
        precision = [1.0] * size
        mean[1], precision[1] = l0, 1 / (prior["slope_sd"] / 1000) ** 2
        if prior["mean"]:
            mean[0], precision[0] = math.log(prior["mean"]), 1 / (prior["sd"] / 1000) ** 2
        else:
            mean[0], precision[0] = 11.5, 1 / 9.0
        a = [[precision[i] if i == j else 0.0 for j in range(size)] for i in range(size)]
        b = [precision[i] * mean[i] for i in range(size)]
        for i in range(size):
            for p in range(len(obs)):
                wi = sum(rows[q][i] * w[q][p] for q in range(len(obs)))
                b[i] += wi * ys[p]
                for j in range(size):
                    a[i][j] += wi * rows[p][j]
        v = invert(a)
        x = [sum(v[i][j] * b[j] for j in range(size)) for i in range(size)]
        mode, l = x[0], x[1]
    return dict(mean_grams=round(math.exp(x[0]), 2), sd_permille=round(1000 * math.sqrt(v[0][0]), 3),
                slope_permille=round(1000 * math.exp(l), 3), slope_sd_permille=round(1000 * math.sqrt(v[1][1]), 3),
                corr_permille=round(1000 * v[0][1] / math.sqrt(v[0][0] * v[1][1]), 3))


FLAT = dict(mean=0, sd=0, slope=1000, slope_sd=225)
KNOWN = dict(mean=100000, sd=300, slope=1000, slope_sd=225)


def ob(grams, reps, age, **kw):
    return dict(grams=grams, reps=reps, age_days=age, **kw)


CASES = [
    dict(name="one test", family="bench", status="advanced", prior=KNOWN, observations=[ob(140000, 1, 0, tested=True)]),
    dict(name="five to failure", family="bench", status="intermediate", prior=KNOWN, observations=[ob(87000, 5, 10, failure=True)]),
    dict(name="eight with two left", family="bench", status="novice", prior=FLAT, observations=[ob(60000, 8, 3, rir=2)]),
    dict(name="two of one day", family="squat", status="intermediate", prior=KNOWN,
         observations=[ob(100000, 5, 7, rir=1), ob(90000, 8, 7, rir=2)]),
    dict(name="test and long set", family="squat", status="intermediate", prior=FLAT,
         observations=[ob(150000, 1, 14, tested=True), ob(105000, 20, 7, failure=True)]),
    dict(name="layoff", family="leg-press", status="novice", prior=dict(KNOWN, mean=180000, layoff_weeks=8),
         observations=[ob(200000, 10, 70, failure=True), ob(150000, 10, 2, rir=3)]),
    dict(name="called nothing left", family="bench", status="advanced", prior=FLAT,
         observations=[ob(80000, 8, 1, rir=0), ob(85000, 6, 4, rir=0), ob(90000, 3, 30, rir=1)]),
    dict(name="six mixed", family="bench", status="intermediate", prior=KNOWN,
         observations=[ob(85000, 5, 56, failure=True), ob(75000, 8, 42, rir=2), ob(82500, 6, 28, rir=1),
                       ob(70000, 10, 28, rir=1), ob(92500, 3, 14, failure=True), ob(65000, 12, 7, rir=3)]),
    dict(name="silent", family="squat", status="novice", prior=KNOWN, observations=[ob(80000, 10, 20), ob(95000, 5, 13)]),
    dict(name="long ago", family="squat", status="novice", prior=KNOWN, observations=[ob(120000, 1, 800, tested=True), ob(90000, 8, 400, failure=True)]),
]
print(json.dumps([dict(c, want=posterior(c)) for c in CASES], indent=1))
