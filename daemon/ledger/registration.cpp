#include "daemon/ledger/registration.h"

#include <fmt/format.h>

#include <array>
#include <vector>

#include "daemon/ledger/answer_text.h"

namespace torpor::daemon {

namespace {

struct MassField {
  std::string_view word;
  std::optional<Grams> NewJar::*member;
  bool may_be_zero;
};
constexpr std::array kMassFields = {
    MassField{"rice", &NewJar::rice, false},
    MassField{"raw", &NewJar::raw, false},
    MassField{"cooked", &NewJar::cooked_weight, false},
    MassField{"sugar", &NewJar::sugar, true},
    MassField{"topping", &NewJar::topping, true},
    MassField{"empty", &NewJar::empty, false},
};

// One jar is lifted by one person; beyond that a g was told as kg. Below ten grams a kg as g.
constexpr Grams kHeaviest{50'000};
constexpr Grams kLightest{10};
// Sugar to rice is about 1; a factor of 20 off is a slip of the unit, which is a factor of 1000.
constexpr double kOddRatio = 20;
// Density of crystalline sucrose is 1.587 g/ml (from memory): no mixture of it is denser.
constexpr double kDensest = 1.6;
constexpr double kSmallestVolume = 20, kLargestVolume = 200'000;  // ml: a vial, a barrel
constexpr double kNarrowestMouth = 5, kWidestMouth = 1000;        // mm

std::optional<std::string> mass_doubt(const MassField& field, Grams mass) {
  if (mass.value() == 0.0) {
    if (field.may_be_zero) return std::nullopt;
    return fmt::format("`{}` is 0 g; leave it out if it is not known", field.word);
  }
  if (mass > kHeaviest) {
    return fmt::format("`{}` is {}, more than one jar holds; is it {}?", field.word,
                       grams_text(mass), grams_text(Grams(mass.value() / 1000)));
  }
  if (mass < kLightest && field.member != &NewJar::topping) {
    return fmt::format("`{}` is only {}; is it {}?", field.word, grams_text(mass),
                       grams_text(Grams(mass.value() * 1000)));
  }
  return std::nullopt;
}

double contents(const NewJar& jar) {
  const auto grams = [](const std::optional<Grams>& mass) { return mass ? mass->value() : 0.0; };
  return grams(jar.rice) + grams(jar.sugar) + grams(jar.topping);
}

std::optional<std::string> rice_doubt(const NewJar& jar) {
  if (jar.raw && jar.rice && *jar.raw >= *jar.rice) {
    return fmt::format(
        "raw {} is not less than rice {}: `rice` is the colonised rice as mixed, `raw` the dry "
        "rice "
        "before cooking; are they swapped?",
        grams_text(*jar.raw), grams_text(*jar.rice));
  }
  if (jar.raw && jar.cooked_weight && *jar.raw >= *jar.cooked_weight) {
    return fmt::format("raw {} is not less than cooked {}, but rice takes up water; which is it?",
                       grams_text(*jar.raw), grams_text(*jar.cooked_weight));
  }
  return std::nullopt;
}

std::optional<std::string> sugar_doubt(const NewJar& jar) {
  if (!jar.rice || !jar.sugar || jar.sugar->value() == 0.0) return std::nullopt;
  const double ratio = jar.sugar->value() / jar.rice->value();
  if (ratio <= kOddRatio && ratio >= 1 / kOddRatio) return std::nullopt;
  return fmt::format("sugar {} to rice {} is far from equal weights; is one of the units wrong?",
                     grams_text(*jar.sugar), grams_text(*jar.rice));
}

std::string rice_text(const NewJar& jar) {
  std::string text;
  if (jar.rice) text = fmt::format("rice {}", grams_text(*jar.rice));
  if (jar.raw) {
    text += fmt::format("{}{} raw", text.empty() ? "rice from " : " from ", grams_text(*jar.raw));
  }
  const auto add_cooked = [&](std::string_view how) {
    text += fmt::format("{}cooked {}", text.empty() ? "rice " : ", ", how);
  };
  if (jar.cooked_weight) add_cooked(fmt::format("to {}", grams_text(*jar.cooked_weight)));
  if (jar.cooked) add_cooked(cooked_name(*jar.cooked));
  return text;
}

std::string sugar_text(const NewJar& jar) {
  const std::string kind =
      jar.sugar_kind ? fmt::format("{} sugar", sugar_kind_name(*jar.sugar_kind)) : "sugar";
  if (!jar.sugar) return jar.sugar_kind ? kind : "";
  if (!jar.rice || jar.sugar->value() == 0.0) {
    return fmt::format("{} {}", kind, grams_text(*jar.sugar));
  }
  return fmt::format("{} {}, {:.2f} times the rice", kind, grams_text(*jar.sugar),
                     jar.sugar->value() / jar.rice->value());
}

std::string vessel_text(const NewJar& jar) {
  std::vector<std::string> parts;
  if (jar.vessel || jar.volume_ml) {
    parts.push_back(fmt::format("{}{}", jar.vessel ? vessel_name(*jar.vessel) : "vessel",
                                jar.volume_ml ? " of " + volume_text(*jar.volume_ml) : ""));
  }
  if (jar.empty) parts.push_back(fmt::format("empty {}", grams_text(*jar.empty)));
  if (jar.mouth_mm) parts.push_back(fmt::format("mouth {}", length_text(*jar.mouth_mm)));
  return fmt::format("{}", fmt::join(parts, ", "));
}

}  // namespace

std::optional<std::string> doubt_about_vessel(const NewJar& jar) {
  if (jar.volume_ml && (*jar.volume_ml < kSmallestVolume || *jar.volume_ml > kLargestVolume)) {
    return fmt::format("a vessel of {} is no jar; which volume is it?",
                       volume_text(*jar.volume_ml));
  }
  if (jar.volume_ml && contents(jar) > kDensest * *jar.volume_ml) {
    return fmt::format("{} of rice and sugar do not go into {}; which of them is wrong?",
                       grams_text(Grams(contents(jar))), volume_text(*jar.volume_ml));
  }
  if (jar.mouth_mm && (*jar.mouth_mm < kNarrowestMouth || *jar.mouth_mm > kWidestMouth)) {
    return fmt::format("a mouth of {} fits no jar; which width is it?", length_text(*jar.mouth_mm));
  }
  return std::nullopt;
}

std::optional<std::string> doubt_about(const NewJar& jar) {
  for (const MassField& field : kMassFields) {
    if (!(jar.*field.member)) continue;
    if (auto doubt = mass_doubt(field, *(jar.*field.member))) return doubt;
  }
  if (auto doubt = rice_doubt(jar)) return doubt;
  if (auto doubt = sugar_doubt(jar)) return doubt;
  return doubt_about_vessel(jar);
}

std::string contents_text(const NewJar& jar) {
  std::vector<std::string> parts;
  const auto add = [&](std::string part) {
    if (!part.empty()) parts.push_back(std::move(part));
  };
  add(harmless(jar.stage));
  add(rice_text(jar));
  add(sugar_text(jar));
  if (jar.topping) add(fmt::format("topping {}", grams_text(*jar.topping)));
  add(vessel_text(jar));
  if (jar.cover) add(fmt::format("cover {}", cover_name(*jar.cover)));
  if (!jar.origin.empty()) add(fmt::format("origin \"{}\"", harmless(jar.origin)));
  return fmt::format("{}", fmt::join(parts, "; "));
}

std::string missing_text(const NewJar& jar) {
  std::vector<std::string> clauses;
  const auto add = [&](const std::vector<std::string>& words, std::string_view figures) {
    if (words.empty()) return;
    clauses.push_back(
        fmt::format("without {} {} cannot be known", listed(words, words.size()), figures));
  };
  std::vector<std::string> words;
  if (!jar.rice) words.emplace_back("rice");
  if (!jar.raw && !jar.cooked) words.emplace_back("raw (or cooked)");
  if (!jar.sugar) words.emplace_back("sugar");
  add(words, "its water activity and time to wake");
  words.clear();
  if (!jar.cover) words.emplace_back("cover");
  if (!jar.mouth_mm) words.emplace_back("mouth");
  add(words, "the water it takes from the air");
  words.clear();
  if (!jar.empty) words.emplace_back("empty");
  add(words, "its contents from a weight with the vessel");
  return fmt::format("{}", fmt::join(clauses, "; "));
}

std::string caution_text(const NewJar& jar) {
  std::vector<std::string> cautions;
  // With its rice told the answer says how much (mixing_answers.h).
  if (jar.sugar && jar.sugar->value() == 0.0 && !jar.rice && !jar.cooked_weight) {
    cautions.emplace_back("Without sugar nothing keeps it asleep.");
  }
  if (jar.vessel == Vessel::plastic) {
    cautions.emplace_back(
        "Plastic will do, but for long storage common practice wants glass or glazed ceramic.");
  }
  return fmt::format("{}", fmt::join(cautions, " "));
}

}  // namespace torpor::daemon
