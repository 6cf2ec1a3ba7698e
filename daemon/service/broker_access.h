// The broker of a loaded configuration, as the link wants it.
#pragma once

#include "daemon/link/link.h"
#include "daemon/service/load_settings.h"

namespace torpor::daemon {

[[nodiscard]] BrokerAccess broker_access(const Loaded& loaded);

}  // namespace torpor::daemon
