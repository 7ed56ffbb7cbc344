"""Published figures beside what this program makes of them, as a table.

``python -m tests.reference``. The tests hold the same figures to stated tolerances;
here they can be read: source, quantity, published, computed, relative difference.
"""

import sys
from collections.abc import Iterator

import numpy as np

from daq.analysis.air import moist_air_density, standard_atmosphere
from daq.analysis.copper import lead_ohm
from daq.analysis.fits import fit
from daq.analysis.measured import effective_dof, t_factor
from daq.analysis.models import Columns, Model, Polynomial, PowerLaw
from daq.analysis.precision import algorithm_a, critical_h, critical_k, precision
from daq.analysis.propeller import ideal_power_w
from daq.calibration.gravity import normal_gravity
from daq.calibration.weights import permissible_error_g
from daq.units import c_to_k, kv_to_volt_second
from tests.reference import test_fits as fits
from tests.reference import test_gum_h2 as h2
from tests.reference import test_interlaboratory as several
from tests.reference import test_york as york

Row = tuple[str, str, float, float]


def strd() -> Iterator[Row]:
    linear: tuple[tuple[str, tuple[int, ...]], ...] = (
        ("norris", (0, 1)),
        ("pontius", (0, 1, 2)),
        ("noint1", (1,)),
    )
    for name, powers in linear:
        known = fits.certified(name)
        found = fit(Polynomial(powers), *fits.points(name))
        for place, (b, got) in enumerate(
            zip(known["B"], found.coefficients, strict=True)
        ):
            yield f"NIST StRD {name}", f"B{place}", float(b), float(got)
        sd = float(known["residual_sd"])
        yield f"NIST StRD {name}", "residual sd", sd, found.residual_sd
    curved: tuple[tuple[str, str, Model], ...] = (
        ("danwood", "danwood", PowerLaw()),
        ("misra1a", "misra1", fits.Saturation()),
        ("chwirut2", "chwirut2", fits.Decay()),
    )
    for name, data, model in curved:
        known = fits.certified(name)
        start = np.array([float(b) for b in known["start1"]])
        found = fit(model, *fits.points(data), start=start)
        for place, (b, got) in enumerate(
            zip(known["b"], found.coefficients, strict=True), 1
        ):
            yield f"NIST StRD {name}", f"b{place}", float(b), float(got)
    known = fits.certified("longley")
    y, *predictors = h2.columns("nist_longley.csv").values()
    design = np.stack([np.ones(y.size), *predictors], axis=-1)
    model = Columns(design, tuple("0123456"))
    found = fit(model, np.arange(y.size, dtype=np.float64), y)
    for place, (b, got) in enumerate(zip(known["B"], found.coefficients, strict=True)):
        yield "NIST StRD longley", f"B{place}", float(b), float(got)


def gum() -> Iterator[Row]:
    published = h2.document("gum_h2_impedance.toml")["outputs_published"]
    for name, found in h2.outputs().items():
        value, u = published[name]
        yield "JCGM 100 H.2", name, value, float(found.value[0])
        yield "JCGM 100 H.2", f"u({name})", u, float(found.standard_uncertainty()[0])
    example = h2.document("gum_other_examples.toml")["welch_satterthwaite_H1"]
    u, dof = example["components_nm"], example["degrees_of_freedom"]
    combined = float(np.sqrt(np.sum(np.square(u))))
    yield "JCGM 100 H.1", "u, nm", float(example["uc_nm_published"]), combined
    nu = float(example["nu_eff_published"])
    yield "JCGM 100 H.1", "degrees of freedom", nu, effective_dof(u, dof)
    for freedom, factor in ((1, 12.71), (5, 2.57), (16, 2.12), (50, 2.01)):
        got = float(t_factor(freedom, 0.95))
        yield "JCGM 100 G.2", f"t 95 %, {freedom}", factor, got


def nature() -> Iterator[Row]:
    density = moist_air_density(c_to_k(20.0), 101325.0, 0.5)
    yield "CIPM-2007", "kg/m3, 20 C, 50 %", 1.199314, density
    thin = standard_atmosphere(1000.0)
    yield "ISO 2533", "kg/m3 at 1000 m", 1.111643, thin.density_kg_m3
    yield "WGS 84", "m/s2 at 45 degrees", 9.806199, normal_gravity(45.0, 0.0)
    yield "OIML R 111", "mg, 100 g, M1", 5.0, 1e3 * permissible_error_g(100.0, "M1")
    hover = float(ideal_power_w(np.array([1.0]), 1.225, 0.0762)[0])
    yield "momentum theory", "W for 1 N, 76.2 mm", 9.460564, hover
    catalogue = 0.7797e-3
    yield "motor catalogue", "K_t of 12248 rpm/V", catalogue, kv_to_volt_second(12248.0)


def lines() -> Iterator[Row]:
    known, found = york.read("york_pearson.toml"), york.found()
    published, again = known["published"], known["recomputed"]
    yield "York 2004, Pearson", "slope", published["slope"], found.slope
    yield "York 2004, Pearson", "intercept", published["intercept"], found.intercept
    yield "York 2004, Pearson", "u(slope)", again["sigma_slope"], found.slope_u
    chi2 = found.chi2 / found.dof
    yield "York 2004, Pearson", "chi2 per dof", published["chi2_per_dof"], chi2
    for row in fits.table("copper_awg.csv"):
        if row["awg"] in ("20", "26"):
            ohm = float(row["ohm_per_km_20C_published"])
            what = f"ohm/km, {row['awg']} AWG"
            yield "NBS Handbook 100", what, ohm, lead_ohm(float(row["awg"]), 1e3)


def laboratories() -> Iterator[Row]:
    glucose, pitch = several.KNOWN["e691"], several.KNOWN["pitch"]
    sources = [
        *(("ASTM E691", glucose, k, several.glucose(m)) for k, m in enumerate("ABCDE")),
        *(("ISO 5725-2 B", pitch, k, several.pitch(k + 1)) for k in range(2)),
    ]
    for source, known, place, results in sources:
        found = precision(results)
        for name, key, got in (
            ("s_r", "repeatability", found.within),
            ("s_R", "reproducibility", found.overall),
        ):
            if got is not None:
                what = f"{name}, {place + 1}"
                yield source, what, float(known[key][place]), got.sd
    yield "ASTM E691", "h, 8, 0.5 %", glucose["critical_h"], critical_h(8, 0.005)
    yield (
        "ASTM E691",
        "k, 8 of 3, 0.5 %",
        glucose["critical_k"],
        critical_k(8, 3, 0.005),
    )
    copper = several.KNOWN["copper"]
    robust = algorithm_a(np.array(copper["parts_per_million"]))
    yield "ISO 13528, copper", "x*", copper["recomputed"]["mean"], robust.mean
    yield "ISO 13528, copper", "s*", copper["recomputed"]["sd"], robust.sd


def main() -> int:
    print(f"{'source':<22}{'quantity':<22}{'published':>16}{'computed':>16}  apart")
    for source, what, published, computed in (
        *strd(),
        *gum(),
        *nature(),
        *lines(),
        *laboratories(),
    ):
        apart = abs(computed / published - 1)
        print(f"{source:<22}{what:<22}{published:>16.9g}{computed:>16.9g}  {apart:.1e}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
