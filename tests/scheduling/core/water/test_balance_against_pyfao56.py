"""Whole seasons of the daily balance against an independent package, pyfao56 1.4.3 (dual crop coefficient).

It differs by design: a surface layer evaporates by itself (Ke), which this core does not model, and the package
drops no small rain. So its evaporation goes in as part of the demand, (Kcb + Ke/Ks) ETref, and the rain holds no
small days. Compared is the rest: TAW, RAW, the stress coefficient from the depletion at the start of a day,
drainage and depletion.
"""

import datetime as dt
import warnings

import numpy as np
import pytest

from scheduling.core.water.balance import DailyDrive, GivenIrrigation, ZoneSoil, soil_water_balance

FC, WP, ROOT_M, P, DAYS = 0.30, 0.14, 0.45, 0.5, 180
FIRST = dt.date(2023, 4, 1)


def season_of_theirs(pyfao56, et, rain, irrigation):
    """Their daily table for a crop that grows, stands and ripens on a root zone of one depth."""
    keys = [(FIRST + dt.timedelta(days=day)).strftime("%Y-%j") for day in range(DAYS)]
    crop = pyfao56.Parameters(
        Kcbini=0.3, Kcbmid=0.8, Kcbend=0.4, Lini=40, Ldev=40, Lmid=60, Lend=40, hini=0.1, hmax=0.4,
        thetaFC=FC, thetaWP=WP, theta0=FC, Zrini=ROOT_M, Zrmax=ROOT_M, pbase=P, Ze=0.10, REW=8.0,
    )  # fmt: skip
    weather = pyfao56.Weather()
    weather.rfcrp, weather.z, weather.lat, weather.wndht = "S", 100.0, 47.0, 2.0
    for key, et_mm, rain_mm in zip(keys, et, rain, strict=True):
        row = dict.fromkeys(weather.cnames, np.nan)
        row.update(Tmax=25.0, Tmin=12.0, RHmin=45.0, Wndsp=2.0, Rain=rain_mm, ETref=et_mm)
        weather.wdata.loc[key] = [row[name] for name in weather.cnames]
    events = pyfao56.Irrigation()
    for key, depth in zip(keys, irrigation, strict=True):
        if depth:
            events.idata.loc[key] = [depth, 1.0, 100.0]
    model = pyfao56.Model(keys[0], keys[-1], crop, weather, irr=events, cons_p=True)
    model.run()
    return model.odata


@pytest.mark.slow
@pytest.mark.parametrize("every, depth", [(4, 18.0), (0, 0.0)], ids=["irrigated", "without irrigation"])
def test_depletion_of_a_season_stays_within_a_tenth_of_a_millimetre(every, depth):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        pyfao56 = pytest.importorskip("pyfao56")
        rng = np.random.default_rng(23)
        et = rng.uniform(2.0, 6.5, DAYS)
        rain = np.where(rng.random(DAYS) < 0.2, rng.uniform(3.0, 28.0, DAYS), 0.0)
        irrigation = np.where(np.arange(DAYS) % every == 0, depth, 0.0) if every else np.zeros(DAYS)
        theirs = season_of_theirs(pyfao56, et, rain, irrigation)
    ks, kcb, ke = (theirs[name].to_numpy(float) for name in ("Ks", "Kcb", "Ke"))
    ours = soil_water_balance(
        DailyDrive(et, rain, (kcb + ke / ks)[:, None]),
        ZoneSoil(np.array([1000 * (FC - WP) * ROOT_M]), np.array([P]), np.array([0.0])),
        GivenIrrigation(irrigation[:, None]),
    )
    assert np.abs(ours.depletion_mm[:, 0] - theirs["Dr"].to_numpy(float)).max() <= 0.1
    assert np.abs(ours.ks[:, 0] - ks).max() <= 0.002
    assert np.abs(ours.deep_percolation_mm[:, 0] - theirs["DP"].to_numpy(float)).max() <= 0.1
    stressed = int((ours.ks < 1).sum())
    assert (stressed == 0) if every else (stressed > 30)
