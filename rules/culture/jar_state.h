// Everything about a jar that the next step depends on: what a snapshot holds. Times are UTC ms.
#pragma once

#include <array>
#include <cstdint>

#include "rules/culture/air_memory.h"
#include "rules/culture/air_sample.h"
#include "rules/culture/heat.h"
#include "rules/culture/score.h"
#include "rules/culture/self_heating.h"
#include "rules/culture/sign.h"

namespace torpor::rules::culture {

inline constexpr std::int64_t kNever = INT64_MIN;

// Sums over the running cell of the model's grid, exact for piecewise-constant air.
struct CellSums {
  double seconds = 0.0;
  double air = 0.0;                         // K s, known or assumed
  double known_seconds = 0.0;               // temperature known
  double humid_seconds = 0.0;               // humidity known
  double vapour = 0.0;                      // Pa s, of the humid time
  double saturation = 0.0;                  // Pa s, of the humid time
  AirError error;                           // K s of the known time, % s of the humid time
  std::array<double, kMembers> contents{};  // K s
  double probe_excess = 0.0;                // K, summed over samples
  double probe_samples = 0.0;

  template <class Archive>
  void fields(Archive& archive) {
    archive(seconds);
    archive(air);
    archive(known_seconds);
    archive(humid_seconds);
    archive(vapour);
    archive(saturation);
    archive(error.temperature);
    archive(error.humidity);
    for (double& value : contents) archive(value);
    archive(probe_excess);
    archive(probe_samples);
  }
};

// Heat of one member's contents, stepped with every reading.
struct HeatState {
  double temperature = 0.0;  // degC
  double highest = -273.15;
  std::array<double, kHarmThresholds.size()> hours_above{};

  template <class Archive>
  void fields(Archive& archive) {
    archive(temperature);
    archive(highest);
    for (double& value : hours_above) archive(value);
  }
};

struct JarState {
  // Time.
  std::int64_t consumed = 0;       // air has been worked in up to here
  std::int64_t pending_until = 0;  // and `pending` holds from there to here
  std::int64_t cell_end = 0;
  Air pending;
  bool has_temperature = false;  // some air has been known since closing
  CellSums cell;
  AirMemory memory;
  AirError air_error;  // of the air as last known
  // The contents.
  std::array<HeatState, kMembers> heat;
  std::array<Member, kMembers> members;
  KineticMean kinetic;
  double coverage = 0.0;  // running mean over coverage_days
  double covered_hours = 0.0, hours = 0.0;
  double outer_dew_hours = 0.0;
  double settled_days = 0.0;
  double probe_offset = 0.0, probe_hours_left = 0.0;
  // Hours in a row in which the air read as the jar's own damp, and how far it warmed and cooled.
  double own_damp_hours = 0.0, own_damp_coldest = 0.0, own_damp_warmest = 0.0;
  SelfHeating self_heating;
  // The vessel and what is in it.
  Cover cover = Cover::paper;
  double contents_grams = 0.0;       // as told and weighed
  double vessel_grams = 0.0;         // 0: not known
  double last_net = -1.0;            // g, of the last weighing; negative: never weighed
  double acts_since_weighing = 0.0;  // g added less g taken
  double gas_lost = 0.0;             // g
  double last_level = -1.0;          // mm; negative: never measured
  // What was told and found.
  std::array<std::int64_t, kSigns> seen_at;      // kNever: not
  std::array<std::int64_t, kSigns> evidence_at;  // as seen_at, where it counts as a sign of waking
  std::int64_t closed_at = 0, opened_at = kNever, open_since = kNever, tested_at = kNever,
               retired_at = kNever;
  std::int64_t headspace_at = kNever, weighed_at = kNever, predicted_at = kNever;
  bool found_dead = false;
  bool works_in_sugar = false;  // slow work was seen here or in a parent
  bool predicted = false;
  Prediction prediction;
  Score score;

  template <class Archive>
  void fields(Archive& archive);
};

template <class Archive>
void JarState::fields(Archive& archive) {
  archive(consumed);
  archive(pending_until);
  archive(cell_end);
  pending.fields(archive);
  archive(has_temperature);
  cell.fields(archive);
  memory.fields(archive);
  archive(air_error.temperature);
  archive(air_error.humidity);
  for (HeatState& member : heat) member.fields(archive);
  for (Member& member : members) member.fields(archive);
  kinetic.fields(archive);
  for (double* value :
       {&coverage, &covered_hours, &hours, &outer_dew_hours, &settled_days, &probe_offset,
        &probe_hours_left, &own_damp_hours, &own_damp_coldest, &own_damp_warmest, &contents_grams,
        &vessel_grams, &last_net, &acts_since_weighing, &gas_lost, &last_level}) {
    archive(*value);
  }
  self_heating.fields(archive);
  archive(cover);
  for (std::int64_t& at : seen_at) archive(at);
  for (std::int64_t& at : evidence_at) archive(at);
  for (std::int64_t* at : {&closed_at, &opened_at, &open_since, &tested_at, &retired_at,
                           &headspace_at, &weighed_at, &predicted_at}) {
    archive(*at);
  }
  archive(found_dead);
  archive(works_in_sugar);
  archive(predicted);
  archive(prediction.made_at);
  archive(prediction.earliest);
  archive(prediction.latest);
  archive(prediction.latest_in_sight);
  archive(score.predicted);
  archive(score.inside);
  archive(score.early);
  archive(score.late);
  archive(score.unforeseen);
}

}  // namespace torpor::rules::culture
