"""`hydro spread`: samples and counts against scipy and numpy, and shares on a local Dask cluster against the whole."""

import subprocess
import tempfile
from pathlib import Path

import numpy as np
import scipy.stats

import hydro
from hydro import ROOT

NETWORK = ROOT / "networks" / "01-one-panel.yaml"
SAMPLES = 200


def output(*arguments):
    """Standard output of hydro as bytes."""
    done = subprocess.run([hydro.binary(), *arguments], capture_output=True, timeout=600)
    if done.returncode not in (0, 1):
        raise hydro.Failed(f"exit status {done.returncode}: {done.stderr.decode()[:600]}")
    return done.stdout


def share(part, parts, seed):
    """One share, as a worker computes it."""
    return output("spread", str(NETWORK), "--samples", "90", "--index-rows", "16", "--seed", str(seed), "--part", f"{part}/{parts}", "--threads", "1")


def statistics(table):
    """Every sample by itself, and what numpy and scipy make of them all."""
    options = ("--samples", str(SAMPLES), "--index-rows", "0")
    whole = hydro.call("spread", NETWORK, *options)
    values, outcomes = [], []
    for number in range(SAMPLES):
        sample = hydro.call("spread", NETWORK, *options, "--sample", str(number))
        values.append(list(sample["values"].values()))
        settings = [word for option in sample["set"] for word in ("--set", option)]
        outcomes.append(hydro.call("run", NETWORK, *settings)["panels"]["plate"])
    values = np.array(values)
    # the distributions of the file, written here anew: 9 bar(g) +- 0.15 bar; the file's 0.8 between 0.7 and 0.85
    bar = 1e5
    wanted = (
        ("gas pressure", scipy.stats.norm(9 * bar + 101325, 0.15 * bar)),
        ("holes", scipy.stats.triang((0.8 - 0.7) / 0.15, 0.7, 0.15)),
        ("filling", scipy.stats.uniform(0.68, 0.04)),
        ("plugged", scipy.stats.uniform(0, 0.03)),
    )
    for k, (name, distribution) in enumerate(wanted):
        # one sample in each of 200 strata: their probabilities, in order, are within their own stratum
        strata = np.sort(distribution.cdf(values[:, k])) * SAMPLES
        table.below(f"{name}: one sample in every stratum", "scipy.stats", np.max(np.abs(strata - np.arange(SAMPLES) - 0.5)), 0.5 + 1e-6)
    flux = np.array([panel["lowest_flux_m_s"] for panel in outcomes])
    found = whole["panels"]["plate"]["lowest_flux_m_s"]
    for name, share in (("p05", 5), ("p50", 50), ("p95", 95)):
        # as stated: within 1/2048
        table.near(f"flux, {name}", "numpy.percentile", found[name], float(np.percentile(flux, share)), relative=whole["quantile_resolution"])
    for k, (name, _) in enumerate(wanted):
        # ranks from probabilities and from bins: a few thousandths with 200 samples
        table.near(f"rank correlation of the flux with {name}", "scipy.stats.spearmanr", found["rank_correlations"][name],
                   float(scipy.stats.spearmanr(values[:, k], flux).statistic), absolute=5e-3)
    met = sum(bool(panel["met"]) for panel in outcomes)
    table.equal("samples that meet the requirement", "hydro run, one by one", whole["chance"]["met"], met)
    interval = scipy.stats.binomtest(met, SAMPLES).proportion_ci(0.95, method="wilson")
    table.near("lower end of the interval", "scipy.stats.binomtest", whole["chance"]["low"], float(interval.low), absolute=1e-9)
    table.near("upper end of the interval", "scipy.stats.binomtest", whole["chance"]["high"], float(interval.high), absolute=1e-9)


def cluster(table):
    """Shares as tasks of a Dask cluster of two processes on this machine."""
    from dask.distributed import Client, LocalCluster

    whole = output("spread", str(NETWORK), "--samples", "90", "--index-rows", "16", "--seed", "5", "--json")
    with LocalCluster(n_workers=2, threads_per_worker=1, host="127.0.0.1", dashboard_address=None) as local, Client(local) as client:
        for parts in (1, 3, 7):
            shares = client.gather(client.map(share, range(1, parts + 1), parts=parts, seed=5, pure=False))
            with tempfile.TemporaryDirectory() as folder:
                paths = []
                for k, text in enumerate(shares):
                    paths.append(str(Path(folder) / f"share-{k}.json"))
                    Path(paths[-1]).write_bytes(text)
                joined = output("merge", *reversed(paths), "--json")
            table.equal(f"{parts} shares on a Dask cluster, joined", "the whole, byte for byte", joined == whole, True)


def checks(table):
    table.section("statistics", statistics)
    table.section("Dask", cluster)
