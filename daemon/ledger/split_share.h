// What a jar holds that was split off from another: its share of that jar's rice and sugar by what
// was told of it. Its water and its work are the model's to know (jar_life.h).
#pragma once

#include "daemon/ledger/ledger.h"

namespace torpor::daemon {

// Fills stage, origin, rice and sugar of `jar.made` from the parent as it was just before the
// split. What is not known of the parent stays unknown. The topping comes over stirred: it counts
// as sugar. Precondition: jar.split and jar.entry are set.
void take_share(Jar& jar, const Jar& parent);

}  // namespace torpor::daemon
