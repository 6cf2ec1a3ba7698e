#include "daemon/ledger/cups.h"

#include <fmt/format.h>

#include "daemon/ledger/answer_text.h"

namespace torpor::daemon {

namespace {

std::string_view substance_name(Substance substance) {
  switch (substance) {
    case Substance::sugar:
      return "sugar";
    case Substance::raw_rice:
      return "raw rice";
    case Substance::rice:
      return "rice";
    case Substance::contents:
      return "rice and sugar";
  }
  return "";
}

}  // namespace

// Sugar and rice: household weights of food tables, from memory (granulated sugar 200 g, brown
// sugar packed 220 g, raw white rice 185 to 200 g, cooked rice 160 to 200 g); colonised rice is
// looser. Contents: 1.2 to 1.4 g/ml, of the packed mass of a jar.
CupWeight cup_weight(Substance substance) {
  switch (substance) {
    case Substance::sugar:
      return {190, 200, 220};
    case Substance::raw_rice:
      return {180, 190, 200};
    case Substance::rice:
      return {140, 165, 200};
    case Substance::contents:
      return {280, 310, 335};
  }
  return {};
}

std::string cups_note(double cups, Substance substance) {
  const CupWeight weight = cup_weight(substance);
  return fmt::format("{:g} cup{} of {} {} taken as {} ({} to {}); a scale knows better", cups,
                     cups == 1.0 ? "" : "s", substance_name(substance), cups == 1.0 ? "is" : "are",
                     grams_text(Grams(cups * weight.middle)),
                     grams_text(Grams(cups * weight.least)), grams_text(Grams(cups * weight.most)));
}

}  // namespace torpor::daemon
