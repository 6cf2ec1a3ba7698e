#include "rules/watch/alert_life.h"

#include <algorithm>

namespace torpor::rules {

Duration repeat_after(Urgency urgency, int notices) {
  using std::chrono::hours;
  constexpr Duration kWeek = std::chrono::days(7);
  if (urgency == Urgency::this_week) return kWeek;
  const bool is_now = urgency == Urgency::now;
  const Duration longest = is_now ? Duration(hours(4)) : kWeek;
  Duration after = is_now ? Duration(std::chrono::minutes(15)) : Duration(hours(12));
  for (int said = 1; said < notices && after < longest; ++said) after *= 2;
  return std::min(after, longest);
}

Instant OpenAlert::due(Duration reopen_within) const {
  if (alert.state == AlertState::eased) return *alert.eased_at + reopen_within;
  return alert.deferred_until ? *alert.deferred_until : notice_due;
}

Instant AlertLife::delivery(Urgency urgency, Instant at) const {
  return urgency == Urgency::now ? at : after_quiet(at, quiet_, offset_);
}

// The open alert that a newly met subject belongs to: its own, else that of the nearest place
// above.
OpenAlert* AlertLife::alert_for(const Rule& rule, const Subject& subject) {
  const auto own = own_.find({rule.name, subject});
  if (own != own_.end()) return &open_.at(own->second);
  if (subject.kind != SubjectKind::place) return nullptr;
  for (auto above = parent_place(subject.id); !above.empty(); above = parent_place(above)) {
    const auto found = own_.find({rule.name, {SubjectKind::place, std::string(above)}});
    if (found != own_.end()) return &open_.at(found->second);
  }
  return nullptr;
}

AlertLife::Outcome AlertLife::raise(const Rule& rule, const Subject& subject, Urgency urgency,
                                    Instant since, Instant now) {
  std::optional<AlertChangeKind> kind;
  OpenAlert* open = alert_for(rule, subject);
  if (open == nullptr) {
    const std::uint64_t number = next_number_++;
    open = &open_[number];
    open->alert.number = number;
    open->alert.rule = rule.name;
    open->alert.subject = subject;
    open->alert.urgency = urgency;
    open->alert.since = since;
    open->alert.raised_at = now;
    open->notice_due = delivery(urgency, now);
    own_[{rule.name, subject}] = number;
    kind = AlertChangeKind::raised;
  } else if (open->alert.state == AlertState::eased) {
    open->alert.urgency = urgency;
    kind = reopen(*open, open->joined.count(subject.id) == 0, since, now);
  }
  open->standing.insert(subject.id);
  open->joined.insert(subject.id);
  standing_in_[{rule.name, subject}] = open->alert.number;
  reschedule(open->alert.number);
  return {open->alert.number, kind};
}

AlertChangeKind AlertLife::reopen(OpenAlert& open, bool is_new_subject, Instant since,
                                  Instant now) {
  Alert& alert = open.alert;
  alert.state = AlertState::standing;
  alert.eased_at.reset();
  alert.since = since;
  alert.raised_at = now;
  const bool tell_at_once = is_new_subject || alert.urgency == Urgency::now;
  if (tell_at_once && !alert.deferred_until) {
    alert.seen_at.reset();
    alert.seen_by.clear();
  }
  if (!alert.seen_at) {
    const bool wait = open.last_notice && !tell_at_once;
    const Instant earliest =
        wait ? std::max(now, *open.last_notice + repeat_after(alert.urgency, open.notices)) : now;
    open.notice_due = delivery(alert.urgency, earliest);
  }
  return AlertChangeKind::reopened;
}

std::optional<AlertLife::Outcome> AlertLife::ease(const std::string& rule, const Subject& subject,
                                                  Instant now) {
  const auto found = standing_in_.find({rule, subject});
  if (found == standing_in_.end()) return std::nullopt;
  const std::uint64_t number = found->second;
  standing_in_.erase(found);
  OpenAlert& open = open_.at(number);
  open.standing.erase(subject.id);
  if (!open.standing.empty()) return Outcome{number, std::nullopt};
  open.alert.state = AlertState::eased;
  open.alert.eased_at = now;
  open.notice_due = kNever;
  reschedule(number);
  return Outcome{number, AlertChangeKind::eased};
}

bool AlertLife::see(std::uint64_t number, const std::string& by, Instant now) {
  const auto found = open_.find(number);
  if (found == open_.end() || found->second.alert.seen_at) return false;
  found->second.alert.seen_at = now;
  found->second.alert.seen_by = by;
  found->second.notice_due = kNever;
  reschedule(number);
  return true;
}

bool AlertLife::defer(const DeferInput& input, Instant now) {
  const auto found = open_.find(input.alert);
  if (found == open_.end() || input.until <= now) return false;
  Alert& alert = found->second.alert;
  alert.deferred_until = std::min(input.until, now + kLongestDeferral);
  alert.deferred_reason = input.reason;
  alert.seen_at = now;
  alert.seen_by = input.by;
  found->second.notice_due = kNever;
  reschedule(input.alert);
  return true;
}

void AlertLife::rise(std::uint64_t number, Urgency urgency, Instant now) {
  OpenAlert& open = open_.at(number);
  open.alert.urgency = urgency;
  open.risen_unsaid = true;
  if (open.alert.deferred_until) {
    if (urgency != Urgency::now) return;
    open.alert.deferred_until.reset();
    open.alert.deferred_reason.clear();
  }
  open.alert.seen_at.reset();
  open.alert.seen_by.clear();
  if (open.alert.state == AlertState::standing) open.notice_due = delivery(urgency, now);
  reschedule(number);
}

bool AlertLife::take_ended_deferral(std::uint64_t number, Instant now) {
  OpenAlert& open = open_.at(number);
  Alert& alert = open.alert;
  if (!alert.deferred_until || *alert.deferred_until > now) return false;
  alert.deferred_until.reset();
  alert.deferred_reason.clear();
  alert.seen_at.reset();
  alert.seen_by.clear();
  if (alert.state == AlertState::standing) open.notice_due = delivery(alert.urgency, now);
  reschedule(number);
  return true;
}

Alert AlertLife::end(std::uint64_t number, Instant now) {
  OpenAlert& open = open_.at(number);
  Alert alert = open.alert;
  alert.state = AlertState::ended;
  if (!alert.eased_at) alert.eased_at = now;
  alert.ended_at = now;
  for (const std::string& id : open.standing) {
    standing_in_.erase({alert.rule, {alert.subject.kind, id}});
  }
  own_.erase({alert.rule, alert.subject});
  due_.erase({scheduled_.at(number), number});
  scheduled_.erase(number);
  open_.erase(number);
  return alert;
}

void AlertLife::withhold(std::uint64_t number) {
  open_.at(number).notice_due = kNever;
  reschedule(number);
}

void AlertLife::release(std::uint64_t number, Instant now) {
  OpenAlert& open = open_.at(number);
  const bool withheld =
      open.alert.state == AlertState::standing && !open.alert.seen_at && open.notice_due == kNever;
  if (!withheld) return;
  open.notice_due = delivery(open.alert.urgency, now);
  reschedule(number);
}

bool AlertLife::is_withheld(std::uint64_t number) const {
  const OpenAlert& open = open_.at(number);
  return open.alert.state == AlertState::standing && !open.alert.seen_at &&
         !open.alert.deferred_until && open.notice_due == kNever;
}

void AlertLife::resume(std::uint64_t number, Instant now) {
  OpenAlert& open = open_.at(number);
  const Instant due =
      open.last_notice
          ? std::max(now, *open.last_notice + repeat_after(open.alert.urgency, open.notices))
          : now;
  open.notice_due = delivery(open.alert.urgency, due);
  reschedule(number);
}

void AlertLife::count_as_said(std::uint64_t number, Instant at) {
  OpenAlert& open = open_.at(number);
  open.notices = std::max(open.notices, 1);
  open.last_notice = at;
}

void AlertLife::postpone(std::uint64_t number, Instant until) {
  open_.at(number).notice_due = until;
  reschedule(number);
}

bool AlertLife::take_due_notice(std::uint64_t number, Instant now) {
  OpenAlert& open = open_.at(number);
  if (open.notice_due > now) return false;
  open.last_notice = now;
  ++open.notices;
  open.risen_unsaid = false;
  open.notice_due =
      delivery(open.alert.urgency, now + repeat_after(open.alert.urgency, open.notices));
  reschedule(number);
  return true;
}

bool AlertLife::is_over(std::uint64_t number, Instant now) const {
  const OpenAlert& open = open_.at(number);
  return open.alert.state == AlertState::eased && open.due(reopen_within_) <= now;
}

std::pair<Instant, std::uint64_t> AlertLife::next_due() const {
  return due_.empty() ? std::pair(kNever, std::uint64_t{0}) : *due_.begin();
}

std::optional<std::uint64_t> AlertLife::standing_in(const std::string& rule,
                                                    const Subject& subject) const {
  const auto found = standing_in_.find({rule, subject});
  return found == standing_in_.end() ? std::nullopt : std::optional(found->second);
}

std::optional<std::uint64_t> AlertLife::own(const std::string& rule, const Subject& subject) const {
  const auto found = own_.find({rule, subject});
  return found == own_.end() ? std::nullopt : std::optional(found->second);
}

void AlertLife::reschedule(std::uint64_t number) {
  const Instant due = open_.at(number).due(reopen_within_);
  const auto [known, is_new] = scheduled_.emplace(number, due);
  if (!is_new) {
    due_.erase({known->second, number});
    known->second = due;
  }
  due_.insert({due, number});
}

void AlertLife::restore(std::vector<OpenAlert> open, std::uint64_t next_number) {
  next_number_ = next_number;
  open_.clear();
  own_.clear();
  standing_in_.clear();
  due_.clear();
  scheduled_.clear();
  for (OpenAlert& each : open) {
    const std::uint64_t number = each.alert.number;
    own_[{each.alert.rule, each.alert.subject}] = number;
    for (const std::string& id : each.standing) {
      standing_in_[{each.alert.rule, {each.alert.subject.kind, id}}] = number;
    }
    open_.emplace(number, std::move(each));
    reschedule(number);
  }
}

}  // namespace torpor::rules
