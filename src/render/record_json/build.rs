//! Fills the record from the stages' own structs.
//!
//! In: [`Results`]. Out: a [`Record`]. Infinite degrees of freedom become null: JSON has no infinity.

use super::{
    AlignmentRecord, ComponentRecord, DecisionRecord, EdgeRecord, FinishRecord, FinishedRecord, InputRecord,
    LineupRecord, LineupValueRecord, MeasurandRecord, MirrorRecord, PanelFinishRecord, PanelRecord,
    PlaceRecord, Program, RECORD_VERSION, ReadingRecord, Record, ScanRecord, SeamRecord, SettingRecord,
    SmoothingRecord, StationRecord, TaperRecord, TargetRecord, ValueRecord, taper_word,
};
use crate::align::Alignment;
use crate::judge::{JudgedLineup, JudgedReading, JudgedSeam, JudgedValue, Measurand};
use crate::lineup::mirror_difference;
use crate::measure::{EdgeReading, Estimate, Smoothing};
use crate::plan::{DecisionRule, FinishTerms, JudgedState};
use crate::render::lineups_csv::rows;
use crate::render::run_facts::Results;
use crate::render::texts::Language;
use crate::summarise::{
    MeasurandSummary, MirrorPlane, MirroredLineups, SeamSummary, Taper, plane_for_lineups,
};

pub(super) fn record(results: &Results<'_>) -> Record {
    let run = results.run;
    let plane = plane_for_lineups(results.plan);
    let input = |file: &crate::render::InputFile| InputRecord {
        role: file.role.clone(),
        name: file.name.clone(),
        sha256: file.sha256.clone(),
        byte_count: file.byte_count,
    };
    let setting = |setting: &crate::render::Setting| SettingRecord {
        name: setting.name.clone(),
        value: setting.value.clone(),
    };
    Record {
        record_version: RECORD_VERSION,
        program: Program { name: "shutline".to_owned(), version: run.program_version.clone() },
        plan_units: results.plan.units.symbol().to_owned(),
        title: results.plan.title.clone(),
        measured_at: run.measured_at.clone(),
        scan: ScanRecord {
            format: run.scan_format.clone(),
            point_count: run.scan_point_count,
            skipped_point_count: run.skipped_point_count,
            accuracy_mm: results.plan.scan.accuracy_mm,
            smoothing: run.smoothing.as_ref().map(smoothing),
        },
        inputs: run.inputs.iter().map(input).collect(),
        settings: run.settings.iter().map(setting).collect(),
        decision: decision(results.plan.decision),
        finish: results.plan.finish.is_to_come().then(|| finish(&results.plan.finish)),
        alignment: results.alignment.map(alignment),
        seams: results.judged.iter().filter_map(|judged| seam(results, judged)).collect(),
        lineups: results
            .lineups
            .iter()
            .filter_map(|judged| lineup(results, judged, plane.as_ref()))
            .collect(),
        warnings: run.warnings.iter().map(|warning| warning.words(Language::English)).collect(),
    }
}

fn smoothing(found: &Smoothing) -> SmoothingRecord {
    SmoothingRecord {
        width_mm: found.width_mm(),
        variance_mm2: found.variance_mm2,
        variance_u_mm2: found.u_mm2,
        degrees_of_freedom: Some(found.degrees_of_freedom).filter(|freedom| freedom.is_finite()),
        is_stated: found.is_stated,
    }
}

fn decision(rule: DecisionRule) -> DecisionRecord {
    let (rule, number) = match rule {
        DecisionRule::Interval { coverage_factor } => ("interval", Some(coverage_factor)),
        DecisionRule::Plain => ("plain", None),
        DecisionRule::GuardBand { conformance } => ("guard-band", Some(conformance)),
        DecisionRule::SharedRisk { capability } => ("shared-risk", Some(capability)),
    };
    DecisionRecord { rule: rule.to_owned(), number }
}

fn finish(terms: &FinishTerms) -> FinishRecord {
    let panels = terms.panels.iter().map(|(panel, finish)| PanelFinishRecord {
        panel: panel.0.clone(),
        scanned: finish.scanned.word().to_owned(),
        outer_mm: finish.outer.build_mm,
        outer_u_mm: finish.outer.u_mm,
        edge_mm: finish.edge.build_mm,
        edge_u_mm: finish.edge.u_mm,
    });
    FinishRecord { judged: terms.judge.word().to_owned(), panels: panels.collect() }
}

fn lineup(results: &Results<'_>, judged: &JudgedLineup, plane: Option<&MirrorPlane>) -> Option<LineupRecord> {
    let lineup = results.plan.lineups.iter().find(|lineup| lineup.id == judged.reading.id)?;
    let mirror = plane.and_then(|plane| {
        let other = results.plan.lineups.iter().find(|other| Some(&other.id) == lineup.mirror.as_ref())?;
        let reading = &results.lineups.iter().find(|judged| judged.reading.id == other.id)?.reading;
        let pair = MirroredLineups::of(results.plan, plane, [other, lineup])?;
        Some(mirror_difference(&judged.reading, reading, pair.has_opposite_datum))
    });
    let values = rows(results.plan, lineup, judged).into_iter().map(|row| LineupValueRecord {
        quantity: row.quantity.to_owned(),
        bar: row.bar,
        panel: row.panel.clone(),
        at_mm: row.at_mm,
        value: row.value.as_ref().ok().map(value),
        reason: row.value.as_ref().err().map(|reason| reason.token().to_owned()),
        verdict: row.verdict.map(|verdict| verdict.word().to_owned()),
    });
    Some(LineupRecord {
        lineup: lineup.id.clone(),
        title: lineup.title.clone(),
        seam: lineup.seam.0.clone(),
        kind: lineup.kind.word().to_owned(),
        verdict: judged.verdict().word().to_owned(),
        values: values.collect(),
        mirror: mirror.map(|against| MirrorRecord {
            lineup: against.mirror.clone(),
            step: against.step.as_ref().map(value),
            pitch: [0, 1].map(|side: usize| against.pitch[side].as_ref().map(value)),
        }),
    })
}

pub(super) fn alignment(found: &Alignment) -> AlignmentRecord {
    let matrix = found.car_from_scanner.isometry().to_homogeneous();
    AlignmentRecord {
        way: found.way.to_owned(),
        car_from_scanner: std::array::from_fn(|row| std::array::from_fn(|column| matrix[(row, column)])),
        rms_residual_mm: found.rms_residual_mm,
        worst_residual_mm: found.worst_residual_mm,
        points_used: found.points_used,
        iterations: found.iterations,
        converged: found.converged,
        condition: finite(found.condition),
        pivot_mm: found.pivot.coords.into(),
        covariance: std::array::from_fn(|row| std::array::from_fn(|column| found.covariance[(row, column)])),
        targets: found
            .targets
            .iter()
            .map(|target| TargetRecord {
                id: target.id.clone(),
                residual_mm: target.residual_mm,
                is_used: target.is_used,
            })
            .collect(),
        panels: found
            .panels
            .iter()
            .map(|panel| PanelRecord {
                panel: panel.panel.0.clone(),
                median_mm: panel.median_mm,
                rms_mm: panel.rms_mm,
                point_count: panel.point_count,
                is_used: panel.is_used,
            })
            .collect(),
        warnings: found.warnings.iter().map(ToString::to_string).collect(),
    }
}

fn seam(results: &Results<'_>, judged: &JudgedSeam) -> Option<SeamRecord> {
    let seam = results.plan.seam(&judged.seam)?;
    let summary: &SeamSummary = results.summary.seams.iter().find(|summary| summary.seam == judged.seam)?;
    Some(SeamRecord {
        seam: seam.id.0.clone(),
        title: seam.title.clone(),
        datum_panel: seam.datum_panel.0.clone(),
        other_panel: seam.other_panel.0.clone(),
        verdict: summary.verdict().word().to_owned(),
        points_used: judged.points_used,
        spacing_mm: judged.spacing_mm,
        gap: measurand(&summary.gap),
        flush: measurand(&summary.flush),
        taper: summary.taper.as_ref().map(taper),
        taper_verdict: summary.taper_verdict.map(|verdict| taper_word(verdict).to_owned()),
        stations: judged.stations.iter().map(station).collect(),
    })
}

fn measurand(summary: &MeasurandSummary) -> MeasurandRecord {
    MeasurandRecord {
        good: summary.counts.good,
        below: summary.counts.below,
        above: summary.counts.above,
        undecided: summary.counts.undecided,
        unseen: summary.counts.unseen,
        mean_mm: summary.mean.as_ref().map(|mean| mean.value_mm),
        mean_u_mm: summary.mean.as_ref().map(|mean| mean.u_mm),
        least_mm: summary.least.as_ref().map(|place| place.value_mm),
        greatest_mm: summary.greatest.as_ref().map(|place| place.value_mm),
        worst: summary
            .worst
            .iter()
            .map(|place| PlaceRecord {
                station: place.station_index,
                along_mm: place.along_mm,
                value_mm: place.value_mm,
                beyond_mm: place.beyond_mm,
                verdict: place.verdict.word().to_owned(),
            })
            .collect(),
    }
}

fn taper(taper: &Taper) -> TaperRecord {
    TaperRecord {
        from_mm: taper.from_mm,
        to_mm: taper.to_mm,
        change: value(&taper.change),
        limit_mm: taper.limit_mm,
        verdict: taper_word(taper.verdict).to_owned(),
    }
}

fn station(station: &JudgedReading) -> StationRecord {
    let reading = &station.reading;
    StationRecord {
        station: reading.station.index,
        along_mm: reading.station.along_mm,
        point_mm: reading.point.coords.into(),
        gap: judged_value(&station.value_in(JudgedState::AsScanned, Measurand::Gap)),
        flush: judged_value(&station.value_in(JudgedState::AsScanned, Measurand::Flush)),
        finished: station.finished.is_some().then(|| FinishedRecord {
            gap: judged_value(&station.value_in(JudgedState::Finished, Measurand::Gap)),
            flush: judged_value(&station.value_in(JudgedState::Finished, Measurand::Flush)),
        }),
        edges: [edge(reading.edges[0].as_ref()), edge(reading.edges[1].as_ref())],
        warnings: reading.warnings.iter().map(|warning| warning.token().to_owned()).collect(),
    }
}

fn judged_value(judged: &JudgedValue<'_>) -> ReadingRecord {
    ReadingRecord {
        value: judged.measured.ok().map(value),
        reason: judged.measured.err().map(|reason| reason.token().to_owned()),
        nominal_mm: judged.tolerance.nominal_mm,
        lower_limit_mm: judged.tolerance.lower_mm(),
        upper_limit_mm: judged.tolerance.upper_mm(),
        verdict: judged.verdict.word().to_owned(),
        conformance: judged.conformance,
    }
}

fn value(estimate: &Estimate) -> ValueRecord {
    ValueRecord {
        value_mm: estimate.value_mm,
        u_mm: estimate.u_mm,
        degrees_of_freedom: finite(estimate.degrees_of_freedom),
        components: estimate
            .components
            .iter()
            .map(|component| ComponentRecord {
                source: component.source.words().to_owned(),
                u_mm: component.u_mm,
                degrees_of_freedom: finite(component.degrees_of_freedom),
            })
            .collect(),
    }
}

fn edge(edge: Option<&EdgeReading>) -> Option<EdgeRecord> {
    edge.map(|edge| EdgeRecord {
        point_mm: edge.point.coords.into(),
        hem_radius_mm: edge.hem_radius_mm,
        hem_radius_u_mm: edge.hem_radius_u_mm,
        arc_seen_rad: edge.arc_seen_rad,
        flange_depth_mm: edge.flange_depth_mm,
    })
}

fn finite(value: f64) -> Option<f64> {
    value.is_finite().then_some(value)
}
