"""Values of statsmodels 0.15.0 that `season/pool.rs` is held to: `python make_pool.py > pool.json`.

Random effects by DerSimonian and Laird, interval of Hartung and Knapp, its scale no less than 1. Where statsmodels finds a negative variance between, it
goes on with it; the fixed-effect mean is taken there, as the method asks. The inputs are invented.
"""

import json

import numpy as np
import statsmodels
from scipy import stats
from statsmodels.stats.meta_analysis import combine_effects

assert statsmodels.__version__ == "0.15.0"
CASES = [
    ([0.061, 0.1, 0.49, 0.35, -0.05, 0.22], [0.015, 0.03, 0.05, 0.02, 0.06, 0.01]),
    ([0.31966, 0.41, 0.22, 0.35], [0.012, 0.02, 0.008, 0.011]),
    ([9.2, 9.5, 9.9], [0.0004, 0.0009, 0.0004]),
]
out = []
for effect, variance in CASES:
    r = combine_effects(np.array(effect), np.array(variance), method_re="dl", use_t=True)
    some = r.tau2 > 0
    mean, var, scale = (
        (r.mean_effect_re, r.var_eff_w_re, r.scale_hksj_re) if some else (r.mean_effect_fe, r.var_eff_w_fe, r.scale_hksj_fe)
    )
    half = stats.t.ppf(0.975, len(effect) - 1) * np.sqrt(max(scale, 1.0) * var)
    out.append({"values": effect, "variances": variance, "tau2": max(r.tau2, 0.0), "mean": mean, "low": mean - half, "high": mean + half})
print(json.dumps(out, indent=1))
