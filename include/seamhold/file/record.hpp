#ifndef SEAMHOLD_FILE_RECORD_HPP
#define SEAMHOLD_FILE_RECORD_HPP

/// Rules for hints and papers of welds. Not part of `seamhold/file.hpp`. The store of weld records is a
/// component of its own: `seamhold/file/weld_store.hpp`, and `seamhold/file/store_csv.hpp` for what it holds
/// as CSV.
#include "seamhold/file/hint_rules.hpp"
#include "seamhold/file/weld_papers.hpp"

#endif
