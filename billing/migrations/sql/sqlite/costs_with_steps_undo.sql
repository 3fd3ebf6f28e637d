DROP TRIGGER cost_is_written_open;
DROP TRIGGER posted_cost_adds_up;
DROP TRIGGER posted_share_is_its_steps;
DROP TRIGGER posted_cost_is_not_changed;
DROP TRIGGER posted_cost_is_not_deleted;
DROP TRIGGER posted_cost_is_not_replaced;
DROP TRIGGER used_tariff_is_not_changed;
