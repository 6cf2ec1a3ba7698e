// What is answered about sugar, cover and vessel when a jar is mixed, split off, fed or covered
// anew. The words about sugar are those of rules/culture/mixing.h. Pure text.
#pragma once

#include <string>
#include <vector>

#include "daemon/ledger/ledger.h"
#include "rules/culture/jar_model.h"
#include "rules/culture/profile.h"

namespace torpor::daemon {

struct MixingAnswer {
  std::vector<std::string>
      first;                      // whole sentences that go before everything else, the lid's ahead
  std::vector<std::string> then;  // whole sentences behind what was understood
  std::string brief;              // "700 g too little sugar, tight lid"; empty: nothing is wrong
};

// Sentences to begin an answer with: "A. B. ", or empty.
[[nodiscard]] std::string ahead(const std::vector<std::string>& sentences);

// `jar` as registered. `now`: a jar that was closed more than two weeks before is mixed no more.
[[nodiscard]] MixingAnswer at_registration(const Jar& jar, Instant now,
                                           const rules::culture::Profile& profile);
// `jar` as split off; `settles`: what it was split off from was mixed within two weeks.
[[nodiscard]] MixingAnswer at_split(const Jar& jar, bool settles);
// `jar` as it is `now`, after the deed; `model`, which was told of it, knows more than what was
// told; nullptr: there is none, or the deed is of the past. What is amiss with the sugar of one of
// several jars is in `brief` alone. Not of a spoiled jar: its standing says the only thing to do.
[[nodiscard]] MixingAnswer at_deed(const Jar& jar, const Deed& deed, Instant now,
                                   bool one_of_several, const rules::culture::JarModel* model,
                                   const rules::culture::Profile& profile);

// True while bubbling and gas are to be expected: two weeks from closing, or from sugar stirred in.
// A jar that was split off is as old as what it was split off from: ask for those, too.
[[nodiscard]] bool settles_at(const Jar& jar, Instant at);

}  // namespace torpor::daemon
