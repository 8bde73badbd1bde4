"""Features of short stretches of single leads, and general classifiers that try to separate ours from recorded ones.

A stretch is scaled by the size of its QRS, limited to the band that all recorders pass and described by its spectrum, wavelets,
beats and intervals. No feature knows which lead, record or script it comes from.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pywt
from scipy.signal import butter, find_peaks, resample_poly, sosfiltfilt, welch
from scipy.stats import kurtosis, skew
from sklearn.ensemble import ExtraTreesClassifier
from sklearn.linear_model import LogisticRegression
from sklearn.metrics import roc_auc_score
from sklearn.pipeline import make_pipeline
from sklearn.preprocessing import QuantileTransformer, StandardScaler
from sklearn.svm import SVC

RATE_HZ = 250
STRETCH_S = 5
BANDS_HZ = ((0.5, 1), (1, 2), (2, 4), (4, 8), (8, 15), (15, 25), (25, 40))
PASS_HZ = (0.5, 40.0)
"""The band that monitors pass (0.5 to 40 Hz: common practice, no source), and all of these recorders."""


@dataclass(frozen=True)
class Stretch:
    """Features of some seconds of a lead of a person or script."""

    whose: str
    lead: str
    features: dict[str, float]


def stretches(whose: str, lead: str, signal_mv: np.ndarray, rate_hz: int, most: int) -> list[Stretch]:
    """Up to `most` stretches of a lead, evenly spread; one without three beats is left out."""
    even = resample_poly(signal_mv - np.median(signal_mv), RATE_HZ, rate_hz)
    even = sosfiltfilt(butter(2, PASS_HZ, "band", fs=RATE_HZ, output="sos"), even)
    n = STRETCH_S * RATE_HZ
    starts = np.linspace(0, len(even) - n, min(most, len(even) // n)).astype(int)
    found = [features(even[start : start + n]) for start in starts]
    return [Stretch(whose, lead, each) for each in found if each]


def r_peaks(x: np.ndarray) -> np.ndarray:
    """Frames of the steepest energy of each beat, then of the largest deflection within 50 ms."""
    energy = np.convolve(np.gradient(x) ** 2, np.ones(20) / 20, "same")
    places, _ = find_peaks(energy, height=0.25 * np.quantile(energy, 0.98), distance=RATE_HZ // 3)
    found = []
    for place in places:
        low = max(place - 12, 0)
        found.append(low + int(np.argmax(np.abs(x[low : place + 13]))))
    return np.array(sorted(set(found)), dtype=int)


def features(x: np.ndarray) -> dict[str, float] | None:
    peaks = r_peaks(x)
    peaks = peaks[(peaks > 75) & (peaks < len(x) - 110)]
    if len(peaks) < 3:
        return None
    size = np.median([np.ptp(x[p - 15 : p + 15]) for p in peaks])
    x = x / size
    log = lambda value: float(np.log10(value + 1e-7))  # noqa: E731
    found: dict[str, float] = {}
    hz, power = welch(x, RATE_HZ, nperseg=512)
    for low, high in BANDS_HZ:
        found[f"power {low}-{high} Hz"] = log(power[(hz >= low) & (hz < high)].sum())
    for level, detail in enumerate(pywt.wavedec(x, "db4", level=6)[1:]):
        found[f"wavelet {level}"] = log(np.mean(detail**2))
        found[f"wavelet {level} peaked"] = float(np.log(kurtosis(detail) + 3))
    beats = np.array([x[p - 70 : p + 105] for p in peaks])
    middle = np.median(beats, axis=0)
    rest = beats - middle
    found["successive beats"] = log(1 - np.mean([np.corrcoef(a, b)[0, 1] for a, b in zip(beats, beats[1:], strict=False)]))
    parts = {"before QRS": slice(0, 50), "QRS": slice(58, 85), "ST": slice(88, 100), "T": slice(105, 165)}
    for name, part in parts.items():
        found[f"change of {name}"] = log(rest[:, part].std())
        bends = np.diff(rest[:, part], 2, axis=1)
        found[f"roughness of change of {name}"] = log(bends.std())
        found[f"height of {name}"] = float(middle[part].max() - np.median(middle))
        found[f"depth of {name}"] = float(np.median(middle) - middle[part].min())
        found[f"roughness of {name}"] = log(np.diff(middle[part], 2).std())
    qrs = middle[58:85]
    slope = np.diff(qrs)
    found["steepest"] = float(np.abs(slope).max())
    strong = slope[np.abs(slope) > 0.03 * np.abs(slope).max()]
    found["turns of QRS"] = float(np.sum(np.diff(np.sign(strong)) != 0))
    spectrum = np.abs(np.fft.rfft(qrs - np.linspace(qrs[0], qrs[-1], len(qrs)), 256)) ** 2
    found["QRS over 15 Hz"] = log(spectrum[16:41].sum() / spectrum.sum())
    found["QRS over 25 Hz"] = log(spectrum[26:41].sum() / spectrum.sum())
    found["R varies"] = log(np.std([np.ptp(beat[55:90]) for beat in beats]))
    rr = np.diff(peaks) / RATE_HZ
    found["RR"] = float(rr.mean())
    found["RR varies"] = log(rr.std())
    found["RR step"] = log(np.sqrt(np.mean(np.diff(rr) ** 2)) if len(rr) > 1 else rr.std())
    found["skew"] = float(skew(x))
    return found


def models():
    """Several kinds: linear, kernel, trees."""
    return {
        "logistic": make_pipeline(StandardScaler(), LogisticRegression(C=0.1, max_iter=2000)),
        "kernel": make_pipeline(QuantileTransformer(n_quantiles=50), SVC(C=1.0, random_state=0)),
        "trees": ExtraTreesClassifier(200, min_samples_leaf=3, max_features=0.3, random_state=0, n_jobs=2),
    }


def score(model, rows: np.ndarray) -> np.ndarray:
    return model.decision_function(rows) if hasattr(model, "decision_function") else model.predict_proba(rows)[:, 1]


def weights(stretches: list[Stretch], share_of_lead: dict[str, float] | None) -> np.ndarray:
    """Each person, or each lead in its share, counts the same, whatever number of stretches it has."""
    keys = [each.lead if share_of_lead else each.whose for each in stretches]
    names, counts = np.unique(keys, return_counts=True)
    count = dict(zip(names, counts, strict=True))
    found = np.array([(share_of_lead or {}).get(key, 0.0 if share_of_lead else 1.0) / count[key] for key in keys])
    return found / found.sum()


def judged(real: list[Stretch], ours: list[Stretch], seed: int = 0) -> dict[str, float]:
    """AUC of each model: trained without a person and without a part of our scripts, tried on those alone."""
    persons = sorted({each.whose for each in real})
    scripts = sorted({each.whose for each in ours})
    fold = {name: i % len(persons) for i, name in enumerate(np.random.default_rng(seed).permutation(scripts))}
    rows, labels, folds, weight = table(real, ours, lambda each, is_real: persons.index(each.whose) if is_real else fold[each.whose])
    found = {}
    for name, model in models().items():
        aucs = []
        for k in range(len(persons)):
            train, test = folds != k, folds == k
            step = list(model.named_steps)[-1] + "__sample_weight" if hasattr(model, "named_steps") else "sample_weight"
            model.fit(rows[train], labels[train], **{step: weight[train] * train.sum()})
            aucs.append(roc_auc_score(labels[test], score(model, rows[test]), sample_weight=weight[test]))
        found[name] = float(np.mean(aucs))
        found[name + " by person"] = dict(zip(persons, np.round(aucs, 2), strict=True))
    return found


def table(real, ours, fold):
    both = [(each, True) for each in real] + [(each, False) for each in ours]
    names = list(real[0].features)
    rows = np.array([[each.features[name] for name in names] for each, _ in both])
    labels = np.array([is_real for _, is_real in both]).astype(int)
    folds = np.array([fold(each, is_real) for each, is_real in both])
    of_real = weights(real, None)
    shares: dict[str, float] = {}
    for each, share in zip(real, of_real, strict=True):
        shares[each.lead] = shares.get(each.lead, 0.0) + share
    return rows, labels, folds, np.concatenate((of_real, weights(ours, shares)))


def separating(real: list[Stretch], ours: list[Stretch]) -> list[tuple[str, float, float, float]]:
    """Features by how well each alone separates ours from recorded ones: AUC (0.5 not at all), and both weighted medians."""
    rows, labels, _, weight = table(real, ours, lambda *_: 0)
    found = []
    for name, column in zip(real[0].features, rows.T, strict=True):
        auc = roc_auc_score(labels, column, sample_weight=weight)
        medians = [float(weighted_median(column[labels == k], weight[labels == k])) for k in (1, 0)]
        found.append((name, float(max(auc, 1 - auc)), *medians))
    return sorted(found, key=lambda each: -each[1])


def weighed(real: list[Stretch], ours: list[Stretch]) -> list[tuple[str, float]]:
    """Features by their share in the decisions of trees that know all stretches."""
    rows, labels, _, weight = table(real, ours, lambda *_: 0)
    trees = models()["trees"].fit(rows, labels, sample_weight=weight * len(rows))
    return sorted(zip(real[0].features, trees.feature_importances_, strict=True), key=lambda each: -each[1])


def weighted_median(values, weight) -> float:
    order = np.argsort(values)
    return values[order][np.searchsorted(np.cumsum(weight[order]), 0.5 * weight.sum())]
