#ifndef SEAMHOLD_MAP_CANDIDATES_HPP
#define SEAMHOLD_MAP_CANDIDATES_HPP

#include "seamhold/map/design_space.hpp"
#include "seamhold/map/question.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <memory>
#include <utility>
#include <vector>

namespace seamhold {

/// The candidates of a map, in the order of its table: all that have the same choices stand together, so that
/// they can be worked out at once; packs begin anew where a choice changes, and the last of each is filled up
/// with its last candidate. Immutable; copies share what is stored.
class Candidates {
public:
    /// All places of a space's grid; choices slowest, then the axes of numbers, the last one fastest.
    explicit Candidates(DesignSpace space) : space_(checked(std::move(space))) {
        std::size_t each = 1, groups = 1;
        for (auto const& axis : space_.axes)
            (axis.is_choice() ? groups : each) *= axis.places();
        for (std::size_t g = 0; g < groups; ++g)
            add_group(each);
    }

    /// Candidates of one's own: rows with one number an axis, in the axes' units, of a choice its number; one
    /// after the other in `rows`. They are put in order by their choices, otherwise kept as they come. Throws
    /// BadInput for a number that is not finite or a choice that is not there.
    Candidates(DesignSpace space, std::vector<double> rows) : space_(checked(std::move(space))) {
        std::size_t const width = space_.axes.size();
        if (rows.size() % width != 0)
            throw BadInput("candidates of " + std::to_string(width) + " axes cannot be made of " +
                           std::to_string(rows.size()) + " numbers");
        std::size_t const count = rows.size() / width;
        std::vector<std::size_t> order(count), group(count);
        for (std::size_t r = 0; r < count; ++r) {
            order[r] = r;
            for (std::size_t a = 0; a < width; ++a) {
                auto const& axis = space_.axes[a];
                double const x = rows[r * width + a];
                if (!is_finite(x) ||
                    (axis.is_choice() &&
                     !(x >= 0 && x < static_cast<double>(axis.choices.size()) && x == std::floor(x))))
                    throw BadInput("candidate number " + std::to_string(r + 1) + ", axis " + axis.name +
                                   ": " + detail::text_of(x) + " is not one of its values");
                if (axis.is_choice())
                    group[r] = group[r] * axis.places() + static_cast<std::size_t>(x);
            }
        }
        std::stable_sort(order.begin(), order.end(),
                         [&](std::size_t a, std::size_t b) { return group[a] < group[b]; });
        std::vector<double> sorted;
        sorted.reserve(rows.size());
        for (std::size_t r = 0; r < count; ++r) {
            auto const from = rows.begin() + static_cast<std::ptrdiff_t>(order[r] * width);
            sorted.insert(sorted.end(), from, from + static_cast<std::ptrdiff_t>(width));
            if (r + 1 == count || group[order[r + 1]] != group[order[r]])
                add_group(r + 1 - rows_);
        }
        rows_of_own_ = std::make_shared<std::vector<double> const>(std::move(sorted));
    }

    /// The space.
    DesignSpace const& space() const { return space_; }

    /// How many candidates there are: rows of the table.
    std::size_t size() const { return rows_; }

    /// How many packs hold them.
    std::size_t packs() const { return packs_; }

    /// The row with which pack number p begins; of `packs()` the number of rows.
    std::size_t first_row(std::size_t p) const {
        if (p >= packs_)
            return rows_;
        auto const& group = group_of_pack(p);
        return group.first_row + (p - group.first_pack) * map_lanes;
    }

    /// Pack number p, from 0.
    CandidatePack pack(std::size_t p) const {
        auto const& group = group_of_pack(p);
        CandidatePack result;
        result.first = first_row(p);
        result.count = std::min<std::size_t>(map_lanes, group.first_row + group.rows - result.first);
        result.values.resize(space_.axes.size());
        result.choices.assign(space_.axes.size(), 0);
        for (int lane = 0; lane < map_lanes; ++lane) {
            auto const numbers =
                row(result.first + std::min(static_cast<std::size_t>(lane), result.count - 1));
            for (std::size_t a = 0; a < numbers.size(); ++a) {
                result.values[a].set_lane(lane, space_.axes[a].in_si(numbers[a]));
                if (space_.axes[a].is_choice())
                    result.choices[a] = static_cast<std::size_t>(numbers[a]);
            }
        }
        return result;
    }

    /// The numbers of a row as a person reads them: in the axes' units; of a choice its number.
    std::vector<double> row(std::size_t r) const {
        std::size_t const width = space_.axes.size();
        std::vector<double> numbers(width);
        if (rows_of_own_) {
            auto const from = rows_of_own_->begin() + static_cast<std::ptrdiff_t>(r * width);
            std::copy(from, from + static_cast<std::ptrdiff_t>(width), numbers.begin());
            return numbers;
        }
        std::size_t const each = groups_.front().rows;
        std::size_t choice = r / each, place = r % each;
        for (std::size_t a = width; a-- > 0;) {
            auto const& axis = space_.axes[a];
            std::size_t& left = axis.is_choice() ? choice : place;
            numbers[a] = axis.place(left % axis.places());
            left /= axis.places();
        }
        return numbers;
    }

private:
    struct Group { ///< candidates with the same choices
        std::size_t first_row;
        std::size_t rows;
        std::size_t first_pack;
    };

    void add_group(std::size_t rows) {
        groups_.push_back({rows_, rows, packs_});
        rows_ += rows;
        packs_ += (rows + map_lanes - 1) / map_lanes;
    }

    Group const& group_of_pack(std::size_t p) const {
        auto const after =
            std::upper_bound(groups_.begin(), groups_.end(), p,
                             [](std::size_t pack, Group const& group) { return pack < group.first_pack; });
        return *(after - 1);
    }

    DesignSpace space_;
    std::vector<Group> groups_;
    std::shared_ptr<std::vector<double> const> rows_of_own_; ///< null for a grid
    std::size_t rows_ = 0;
    std::size_t packs_ = 0;
};

} // namespace seamhold

#endif
