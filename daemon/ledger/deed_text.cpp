#include "daemon/ledger/deed_text.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <utility>

#include "config/fault.h"
#include "daemon/ledger/choice_text.h"
#include "daemon/ledger/cover_text.h"

namespace torpor::daemon {

namespace {

namespace culture = rules::culture;

constexpr std::size_t kLongestTarget = 200;  // of a place, as in `move`
constexpr std::size_t kLongestReason = 400;  // `because`, `for`: a sentence, not a story
constexpr std::size_t kMostTargets = 100;    // told one by one; a shelf holds as many as it holds

template <class T>
using DeedRead = tl::expected<T, SentenceRefusal>;

struct DeedSentence {
  std::vector<std::string> about;  // ids or places, at least one
  Deed deed;
};

constexpr std::string_view kAddForm = "add sugar WEIGHT to ID, then stirred in or on top";
constexpr std::string_view kAddExample = "add sugar 120 g to B-07";
constexpr std::string_view kTakeForm = "take WEIGHT from ID for \"WHAT\"";
constexpr std::string_view kTakeExample = "take 200 g from B-07 for \"heap 4\"";
constexpr std::string_view kOpenForm = "open ID";
constexpr std::string_view kOpenExample = "open B-07";
constexpr std::string_view kCoverForm =
    "cover ID with tissue, cloth, paper, kraft, double kraft, waxed paper, film, lid turned back, "
    "tight lid or airlock";
constexpr std::string_view kCoverExample = "cover B-07 with kraft";
constexpr std::string_view kWeighForm = "weigh ID WEIGHT, with vessel if the vessel is in it";
constexpr std::string_view kWeighExample = "weigh B-07 4005 g with vessel";
constexpr std::string_view kMeasureForm =
    "measure ID level HEIGHT, or measure ID headspace HUMIDITY";
constexpr std::string_view kMeasureExample = "measure B-07 level 9 cm";
constexpr std::string_view kObserveForm = "observe ID, then what you see or smell";
constexpr std::string_view kObserveExample = "observe B-07 bubbling, sweet smell";
constexpr std::string_view kTestForm = "wake test ID lively, or wake test ID quiet";
constexpr std::string_view kTestExample = "wake test B-07 lively";
constexpr std::string_view kRetireForm = "retire ID because \"WHY\"";
constexpr std::string_view kRetireExample = "retire B-07 because \"used up\"";

bool ends(const Cursor& cursor) {
  return cursor.at_end() || cursor.is_word("at") || cursor.is_word("by");
}

// One id or place.
DeedRead<std::string> read_one(Cursor& cursor, std::string_view form, std::string_view example) {
  if (ends(cursor)) {
    return tl::unexpected(refusal("the jar's id is missing", form, example));
  }
  auto text = cursor.take_text("the jar's id", kLongestTarget);
  if (!text) return tl::unexpected(refusal(text.error(), form, example));
  return std::move(*text);
}

DeedRead<DeedSentence> read_add(Cursor& cursor) {
  const auto refuse = [](std::string_view why) {
    return tl::unexpected(refusal(why, kAddForm, kAddExample));
  };
  culture::AddSugar add;
  bool weighed = false;
  const auto take_manner = [&] {
    if (cursor.take("stirred in") || cursor.take("stirred")) return add.stirred = true;
    if (!cursor.take("on top") && !cursor.take("spread on top")) return false;
    add.stirred = false;
    return true;
  };
  while (!cursor.is_word("to") && !cursor.is_word("into") && !ends(cursor)) {
    if (cursor.take("sugar") || cursor.take("of") || take_manner()) continue;
    if (const auto* kind = word_next(cursor, sugar_kinds())) {
      (void)cursor.take(kind->name);
      add.kind = kind->meaning;
      continue;
    }
    if (weighed) return refuse(fmt::format("{} is not understood here", cursor.found()));
    const auto weight = cursor.take_weight(Substance::sugar);
    if (!weight) return refuse(weight.error());
    add.sugar = *weight;
    weighed = true;
  }
  if (!weighed) return refuse("the weight of the sugar is missing");
  if (!cursor.take("to") && !cursor.take("into")) return refuse("`to` and the jar are missing");
  auto about = read_about(cursor, "", kAddForm, kAddExample);
  if (!about) return tl::unexpected(about.error());
  (void)take_manner();
  return DeedSentence{std::move(*about), add};
}

DeedRead<DeedSentence> read_take(Cursor& cursor) {
  const auto weight = cursor.take_weight(Substance::contents);
  if (!weight) return tl::unexpected(refusal(weight.error(), kTakeForm, kTakeExample));
  if (!cursor.take("from")) {
    return tl::unexpected(
        refusal(fmt::format("`from` is missing, {} stands in its place", cursor.found()), kTakeForm,
                kTakeExample));
  }
  auto jar = read_one(cursor, kTakeForm, kTakeExample);
  if (!jar) return tl::unexpected(jar.error());
  TakeOut take{*weight, ""};
  if (cursor.take("for")) {
    auto purpose = cursor.take_text("what it is for", kLongestReason);
    if (!purpose) return tl::unexpected(refusal(purpose.error(), kTakeForm, kTakeExample));
    take.purpose = std::move(*purpose);
  }
  return DeedSentence{{std::move(*jar)}, std::move(take)};
}

DeedRead<DeedSentence> read_open(Cursor& cursor) {
  return read_about(cursor, "", kOpenForm, kOpenExample).map([](std::vector<std::string> about) {
    return DeedSentence{std::move(about), culture::Open{}};
  });
}

DeedRead<DeedSentence> read_cover(Cursor& cursor) {
  auto about = read_about(cursor, "with", kCoverForm, kCoverExample);
  if (!about) return tl::unexpected(about.error());
  if (!cursor.take("with")) {
    return tl::unexpected(refusal("`with` and the cover are missing", kCoverForm, kCoverExample));
  }
  if (is_bare_lid(cursor)) {
    return tl::unexpected(refusal(kWhichLid,
                                  "cover ID with lid turned back, or cover ID with tight lid",
                                  "cover B-07 with lid turned back"));
  }
  const auto cover = read_cover_words(cursor);
  if (!cover) return tl::unexpected(refusal(cover.error(), "cover ID with COVER", kCoverExample));
  return DeedSentence{std::move(*about), culture::ChangeCover{*cover}};
}

DeedRead<DeedSentence> read_weigh(Cursor& cursor) {
  auto jar = read_one(cursor, kWeighForm, kWeighExample);
  if (!jar) return tl::unexpected(jar.error());
  const auto grams = cursor.take_measure(Dimension::mass);
  if (!grams) return tl::unexpected(refusal(grams.error(), kWeighForm, kWeighExample));
  culture::Weighing weighing{Grams(*grams), /*with_vessel=*/false};
  weighing.with_vessel = cursor.take("with vessel") || cursor.take("with the vessel") ||
                         cursor.take("with jar") || cursor.take("with the jar");
  if (!weighing.with_vessel) {
    (void)(cursor.take("without vessel") || cursor.take("without the vessel"));
  }
  return DeedSentence{{std::move(*jar)}, weighing};
}

DeedRead<DeedSentence> read_measure_of(Cursor& cursor) {
  const auto refuse = [](std::string_view why) {
    return tl::unexpected(refusal(why, kMeasureForm, kMeasureExample));
  };
  auto jar = read_one(cursor, kMeasureForm, kMeasureExample);
  if (!jar) return tl::unexpected(jar.error());
  if (cursor.take("level")) {
    const auto level = cursor.take_measure(Dimension::length);
    if (!level) return refuse(level.error());
    return DeedSentence{{std::move(*jar)}, culture::Level{*level}};
  }
  if (!cursor.take("headspace")) {
    return refuse(fmt::format("{} is not `level` or `headspace`", cursor.found()));
  }
  const auto humidity = cursor.take_measure(Dimension::humidity);
  if (!humidity) return refuse(humidity.error());
  return DeedSentence{{std::move(*jar)}, culture::Headspace{Percent(*humidity)}};
}

DeedRead<DeedSentence> read_wake_test(Cursor& cursor) {
  constexpr std::array kOutcomes = {Word<bool>{"lively", true}, Word<bool>{"quiet", false},
                                    Word<bool>{"dead", false}};
  auto jar = read_one(cursor, kTestForm, kTestExample);
  if (!jar) return tl::unexpected(jar.error());
  const auto lively = read_choice(cursor, "wake test", std::span<const Word<bool>>(kOutcomes));
  if (!lively) return tl::unexpected(refusal(lively.error(), kTestForm, kTestExample));
  return DeedSentence{{std::move(*jar)}, culture::WakeTest{*lively}};
}

DeedRead<DeedSentence> read_retire(Cursor& cursor) {
  auto about = read_about(cursor, "because", kRetireForm, kRetireExample);
  if (!about) return tl::unexpected(about.error());
  auto because = read_because(cursor, kRetireForm, kRetireExample);
  if (!because) return tl::unexpected(because.error());
  return DeedSentence{std::move(*about), RetireJar{std::move(*because)}};
}

SentenceRefusal unknown_sign(const Cursor& cursor) {
  std::vector<std::string> names;
  for (const auto& word : signs()) names.emplace_back(word.name);
  const std::string two_words = fmt::format("{} {}", cursor.word(), cursor.word(1));
  std::string nearest = config::nearest_word(two_words, names);
  if (nearest.empty()) nearest = config::nearest_word(std::string(cursor.word()), names);
  if (!nearest.empty()) {
    return refusal(fmt::format("{} is not understood; is it `{}`?", cursor.found(), nearest),
                   kObserveForm, fmt::format("observe B-07 {}", nearest));
  }
  return refusal(fmt::format("{} is not something that is noted of a jar; it is one of {}",
                             cursor.found(), choices(signs().first(culture::kToldSigns))),
                 kObserveForm, kObserveExample);
}

DeedRead<DeedSentence> read_observation(Cursor& cursor) {
  auto about = read_about(cursor, "", kObserveForm, kObserveExample);
  if (!about) return tl::unexpected(about.error());
  culture::Look look;
  while (true) {
    cursor.skip_commas();
    if (!look.signs.empty() && (cursor.take("and") || cursor.take("with"))) continue;
    if (ends(cursor)) break;
    const auto* sign = word_next(cursor, signs());
    if (sign == nullptr) return tl::unexpected(unknown_sign(cursor));
    (void)cursor.take(sign->name);
    const bool told =
        std::find(look.signs.begin(), look.signs.end(), sign->meaning) != look.signs.end();
    if (!told) look.signs.push_back(sign->meaning);
  }
  if (look.signs.empty()) {
    // What was taken for a jar's id is more likely a sign that was written wrong.
    Cursor last(std::vector<Token>{{Token::Kind::word, about->back()}});
    const bool misspelt = about->size() > 1;
    return tl::unexpected(
        misspelt ? unknown_sign(last)
                 : refusal("what you see or smell is missing", kObserveForm, kObserveExample));
  }
  return DeedSentence{std::move(*about), std::move(look)};
}

template <DeedRead<DeedSentence> (*Read)(Cursor&)>
DeedRead<Sentence> deed(Cursor& cursor, Endings&, const LocalTime&) {
  return Read(cursor).map([](DeedSentence told) {
    return about_jars(JarDeed{"", std::move(told.deed)}, std::move(told.about));
  });
}

constexpr std::array kDeedVerbs = {
    Verb{"add", kAddForm, kAddExample, deed<read_add>},
    Verb{"take", kTakeForm, kTakeExample, deed<read_take>},
    Verb{"open", kOpenForm, kOpenExample, deed<read_open>},
    Verb{"cover", kCoverForm, kCoverExample, deed<read_cover>},
    Verb{"weigh", kWeighForm, kWeighExample, deed<read_weigh>},
    Verb{"measure", kMeasureForm, kMeasureExample, deed<read_measure_of>},
    Verb{"observe", kObserveForm, kObserveExample, deed<read_observation>},
    Verb{"wake test", kTestForm, kTestExample, deed<read_wake_test>},
    Verb{"retire", kRetireForm, kRetireExample, deed<read_retire>},
};

}  // namespace

std::span<const Verb> deed_verbs() { return kDeedVerbs; }

DeedRead<std::vector<std::string>> read_about(Cursor& cursor, std::string_view end,
                                              std::string_view form, std::string_view example) {
  std::vector<std::string> about;
  const auto stops = [&] {
    return ends(cursor) || (!end.empty() && cursor.is_word(end)) ||
           word_next(cursor, signs()) != nullptr || cursor.matches("stirred") > 0 ||
           cursor.matches("on top") > 0 || cursor.matches("spread on top") > 0;
  };
  while (true) {
    cursor.skip_commas();
    if (!about.empty() && cursor.take("and")) continue;
    if (!about.empty() && stops()) return about;
    if (about.size() == kMostTargets) {
      return tl::unexpected(
          refusal(fmt::format("more than {} jars in one sentence; name their shelf", kMostTargets),
                  form, example));
    }
    auto one = read_one(cursor, form, example);
    if (!one) return tl::unexpected(one.error());
    about.push_back(std::move(*one));
  }
}

DeedRead<std::string> read_because(Cursor& cursor, std::string_view form,
                                   std::string_view example) {
  if (!cursor.take("because")) {
    return tl::unexpected(refusal("`because` and the reason are missing", form, example));
  }
  auto because = cursor.take_text("the reason", kLongestReason);
  if (!because) return tl::unexpected(refusal(because.error(), form, example));
  return std::move(*because);
}

bool tells_an_observation(const Cursor& cursor) {
  for (std::size_t i = 1; cursor.peek(i) != nullptr; ++i) {
    if (word_next(cursor, signs(), i) != nullptr) return true;
  }
  return false;
}

}  // namespace torpor::daemon
