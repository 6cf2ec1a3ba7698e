// The life of alerts: which are open, what each change makes of them, and when the next notice or
// the end is due. Knows no sensors and no words; the engine tells it what became true and false.
#pragma once

#include <cstdint>
#include <map>
#include <optional>
#include <set>
#include <string>
#include <utility>
#include <vector>

#include "rules/watch/air_timeline.h"
#include "rules/watch/local_hours.h"
#include "rules/watch/watch.h"

namespace torpor::rules {

//               raised                       eased                  `reopen_within` over
//   (nothing) ---------> standing, unseen ----------> eased, unseen -----------------> ended
//                          |          ^                |    |                            ^
//                     seen |          | reopened       |    | seen                       |
//                          v          +----------------+    v                            |
//                        standing, seen -----------> eased, seen -------------------------+
//                                     ^  eased         |
//                                     +----------------+
//                                      reopened; unseen again if the urgency is `now`
//                                      or a place joined that was not part of it before
//
// A place that is met below one whose alert of the same rule is open joins that alert instead of
// raising its own: the nearest such place above it takes it in. The alert stands while any of its
// places is met and eases with the last. A place that already had its own alert open when the one
// above was raised keeps it to its end.
//
// Deferred: seen, and silent until then, over easing and reopening too. When the time has come it
// is unseen again and, if it stands, said again. Only an urgency that rises to `now` breaks it.
//
// Notices: at the raise, or when the first jar comes to an alerted place that had none while others
// stand elsewhere (an empty room's weather is nobody's business); again at the repeat rate while
// standing and unseen; for `now` also at a reopening and when it eases, because somebody may be on
// the way. `today` and `this-week` wait for the end of quiet hours, and are not sent if the alert
// has eased by then.

struct OpenAlert {
  Alert alert;
  std::set<std::string> standing;  // ids of the subjects that meet the rule now
  std::set<std::string> joined;    // ids of all that ever did; never without the alert's own
  int notices = 0;                 // sent so far, of any kind
  std::optional<Instant> last_notice;
  Instant notice_due = kNever;
  Instant described_at = kAlways;  // when its words and remedies were worked out
  bool risen_unsaid = false;       // its urgency rose, and no notice has said so
  [[nodiscard]] Instant due(Duration reopen_within) const;
};

// How long an unseen alert that was said `notices` times, once or more, waits before it is said
// again: twice as long each time, because what nobody answered is rarely answered by being said
// more often. `now` is gas, heat or self-heating: after 15 min first, every 4 h at the rarest.
// `today` leaves room for half a day's work, and comes once a week at the rarest; `this-week`,
// which the standing conditions of a season are, is one line a week.
[[nodiscard]] Duration repeat_after(Urgency urgency, int notices);

class AlertLife {
 public:
  AlertLife(Duration reopen_within, std::optional<QuietHours> quiet, UtcOffset offset)
      : reopen_within_(reopen_within), quiet_(quiet), offset_(std::move(offset)) {}

  // A rule is met at, or no longer met by, a subject. Answer the alert concerned and the kind of
  // change; nullopt as kind: only its list of subjects changed.
  using Outcome = std::pair<std::uint64_t, std::optional<AlertChangeKind>>;
  // `urgency`: of an alert that this raises or reopens; the rule's, or more.
  Outcome raise(const Rule& rule, const Subject& subject, Urgency urgency, Instant since,
                Instant now);
  std::optional<Outcome> ease(const std::string& rule, const Subject& subject, Instant now);
  bool see(std::uint64_t number, const std::string& by, Instant now);
  bool defer(const DeferInput& input, Instant now);
  // An open alert becomes more urgent: unseen again, and said at once (after quiet hours), unless
  // it is deferred and not `now`.
  void rise(std::uint64_t number, Urgency urgency, Instant now);
  // True once: a deferral is over now.
  bool take_ended_deferral(std::uint64_t number, Instant now);
  // Ends an alert whose rule or subject is gone, or whose time is over. It is open no longer.
  Alert end(std::uint64_t number, Instant now);

  // No notice until release(), which makes one due at once (after quiet hours) if the alert still
  // stands unseen.
  void withhold(std::uint64_t number);
  void release(std::uint64_t number, Instant now);
  // Standing, unseen, and silent without anybody's having asked for it.
  [[nodiscard]] bool is_withheld(std::uint64_t number) const;
  // Its turn to speak has come (back): at once if it was never said, else when it would have been
  // said again.
  void resume(std::uint64_t number, Instant now);
  // What it asks for was said at `at`, by another.
  void count_as_said(std::uint64_t number, Instant at);
  // The notice that is due waits until `until`.
  void postpone(std::uint64_t number, Instant until);
  // True once: a notice is due now. Schedules the next.
  bool take_due_notice(std::uint64_t number, Instant now);
  [[nodiscard]] bool is_over(std::uint64_t number, Instant now) const;
  // Number and time of the alert with the earliest due notice or end; kNever: none.
  [[nodiscard]] std::pair<Instant, std::uint64_t> next_due() const;

  [[nodiscard]] const std::map<std::uint64_t, OpenAlert>& open() const { return open_; }
  [[nodiscard]] OpenAlert& at(std::uint64_t number) { return open_.at(number); }
  // The open alert that a subject is part of, as one that meets the rule.
  [[nodiscard]] std::optional<std::uint64_t> standing_in(const std::string& rule,
                                                         const Subject& subject) const;
  // The open alert that this subject itself raised.
  [[nodiscard]] std::optional<std::uint64_t> own(const std::string& rule,
                                                 const Subject& subject) const;

  // ---- for the snapshot -----------------------------------------------------------------------
  [[nodiscard]] std::uint64_t next_number() const { return next_number_; }
  void restore(std::vector<OpenAlert> open, std::uint64_t next_number);

 private:
  using Key = std::pair<std::string, Subject>;  // rule and subject
  OpenAlert* alert_for(const Rule& rule, const Subject& subject);
  Instant delivery(Urgency urgency, Instant at) const;
  void reschedule(std::uint64_t number);
  AlertChangeKind reopen(OpenAlert& open, bool is_new_subject, Instant since, Instant now);

  Duration reopen_within_;
  std::optional<QuietHours> quiet_;
  UtcOffset offset_;

  std::uint64_t next_number_ = 1;
  std::map<std::uint64_t, OpenAlert> open_;
  std::map<Key, std::uint64_t> own_;          // the alert a subject raised
  std::map<Key, std::uint64_t> standing_in_;  // the alert a met subject is part of
  std::set<std::pair<Instant, std::uint64_t>> due_;
  std::map<std::uint64_t, Instant> scheduled_;  // what due_ holds for each alert
};

}  // namespace torpor::rules
